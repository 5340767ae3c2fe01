"""The page of indicators, and what speaks against a machine on the page of its load."""

import re

import pytest
from starlette.testclient import TestClient

from service.api.app import make_app
from service.pages.routes import add_pages
from tests.practice import MANAGER, TECHNICIAN


@pytest.fixture
def site(bridge):
    return bridge, TestClient(make_app(bridge.desk, add_pages))


def words(answer):
    return " ".join(re.sub("<[^>]+>", " ", answer.text).split())


def test_what_waits_is_listed_with_its_day_and_how_late_it_is_and_goes_when_it_is_read(site):
    bridge, client = site
    _, load = bridge.ready()
    assert "Waiting to be read None." in words(client.get("/indicators"))
    bridge.act("place indicator", load=load, indicator="biological", lot="B-1", control_lot="B-2", due="2026-03-06")
    assert "lot B-1, control B-2 due 6 March What" in words(client.get("/indicators"))
    bridge.wait(60 * 24 * 4)
    assert "due 6 March 2 days overdue" in words(client.get("/indicators"))
    bridge.act("read indicator", load=load, indicator="biological", result="negative", lot="B-1", control="no growth")
    said = words(client.get("/indicators"))
    assert "Waiting to be read None." in said
    assert "Load 0001 biological void" in said
    assert "They are kinds, not ranks" in said


def test_a_machine_overdue_for_service_or_out_of_service_speaks_against_its_load(site):
    bridge, client = site
    bridge.act("service machine", by=TECHNICIAN, machine="L-K7-1", what="gasket", next_due="2026-03-03")
    bridge.act("service machine", by=TECHNICIAN, machine="L-K7-1", what="water", next_due="2026-03-05")
    _, load = bridge.ready()
    said = words(client.get(f"/loads/{load}"))
    assert "against Steriliser 1 was due for gasket on 2026-03-03" in said
    assert "due for water" not in said
    bridge.act("stop machine", by=MANAGER, machine="L-K7-1", why="water on the floor")
    assert "against Steriliser 1 is out of service: water on the floor" in words(client.get(f"/loads/{load}"))


def test_a_load_too_heavy_or_not_weighed_is_said_where_the_site_has_a_limit(at_work):
    from unittest.mock import patch

    bridge = at_work(load_mass_g=5000, load_mass_source="the maker's handbook")
    client = TestClient(make_app(bridge.desk, add_pages))
    _, load = bridge.ready()
    assert "unseen 1 of 1 packs were not weighed" in words(client.get(f"/loads/{load}"))
    for mass, said in (
        (5001, "against it weighed 5001 g, and 5000 g is the most here"),
        (4000, "for it weighed 4000 g"),
    ):
        with patch("service.custody.rules.release.mass_of", lambda _state, _pack, mass=mass: mass):
            assert said in words(client.get(f"/loads/{load}"))


def test_who_or_what_read_a_biological_is_kept_with_what_it_said(bridge):
    _, load = bridge.ready()
    bridge.act("place indicator", load=load, indicator="biological", lot="B-1", control_lot="B-1", due="2026-03-06")
    bridge.act(
        "read indicator",
        load=load,
        indicator="biological",
        result="negative",
        lot="B-1",
        control="grew",
        reader="incubator 2",
    )
    assert bridge.facts("indicator_read")[-1].data["reader"] == "incubator 2"
