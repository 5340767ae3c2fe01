"""Machines' pages: the log with what is overdue, charts and drift, the sheet of a month."""

import re

import pytest
from starlette.testclient import TestClient

from service.api.app import make_app
from service.pages.routes import add_pages
from tests.practice import MANAGER, TECHNICIAN, TarnBridge

STERILISER = "L-K7-1"
STEADY = (600, 604, 598, 602, 601, 599)


@pytest.fixture
def site(tmp_path):
    bridge = TarnBridge(tmp_path)
    with TestClient(make_app(bridge.desk, add_pages)) as client:
        yield bridge, client


def ran(bridge, heating):
    """One load for each heating time, judged by its log."""
    for number, seconds in enumerate(heating, 1):
        one = bridge.new_set(f"Set {number}")
        bridge.wash([one], number)
        load = bridge.sterilise([bridge.pack(one)], number)
        bridge.act("judge cycle", load=load, verdict="pass", basis="log", hold_s=215, f0_hundredths=7000 + number % 4,
                   log_sha256="0" * 64, plateau_c_hundredths=13510 + number % 3, heating_s=seconds,
                   drying_s=None)  # fmt: skip


def text(answer):
    assert answer.status_code == 200
    return " ".join(re.sub(r"<[^>]+>", " ", answer.text).split())


def test_a_drift_stands_on_the_board_and_leads_to_the_chart_that_shows_it(site):
    bridge, client = site
    ran(bridge, (*STEADY, 603, 612, 640, 660))
    board = client.get("/").text
    assert "Steriliser 1 drifts." in board
    assert "the heating time is above what it was, by the rule “one value beyond 3 sigma”, since 4 March" in board
    link = re.search(r'href="(/machines/L-K7-1\?programme=134/3)"', board)[1]
    shown = client.get(link)
    assert 'class="outside"' in shown.text
    assert "outside 660" in text(shown)


def test_a_steady_machine_says_that_nothing_drifts_and_is_not_on_the_board(site):
    bridge, client = site
    ran(bridge, (*STEADY, *STEADY))
    assert "drifts" not in client.get("/").text
    said = text(client.get(f"/machines/{STERILISER}"))
    assert "Nothing drifts." in said
    assert "Hold time: the values of the baseline are all the same" in said


def test_the_baseline_and_the_rules_are_links_and_days_that_keep_each_other(site):
    bridge, client = site
    ran(bridge, (*STEADY, 603, 612, 640, 660))
    page = f"/machines/{STERILISER}"
    assert "outside (rules: Western Electric)" in client.get(f"{page}?rules=Western+Electric").text
    assert "a false alarm every 91.75 loads" in text(client.get(f"{page}?rules=Western+Electric"))
    assert "baseline=10&amp;rules=Western+Electric" in client.get(f"{page}?rules=Western+Electric").text
    assert "5 are needed" in text(client.get(f"{page}?since=2026-03-05"))
    assert "10 loads" in text(client.get(f"{page}?since=2026-03-04&until=2026-03-04"))
    assert client.get(f"{page}?since=nonsense").status_code == 422


def test_services_are_listed_with_what_is_overdue_in_words(site):
    bridge, client = site
    for what, due in (("gasket", "2026-03-03"), ("water", "2026-09-01"), ("filter", None)):
        bridge.act("service machine", by=TECHNICIAN, machine=STERILISER, what=what, next_due=due, counter=1200)
    said = text(client.get(f"/machines/{STERILISER}"))
    assert "overdue 3 March 2026" in said
    assert "overdue 1 September 2026" not in said
    assert "Counter 1200" in said
    assert "overdue gasket" in text(client.get("/machines"))


def test_a_repair_shows_why_the_machine_is_out_of_service(site):
    bridge, client = site
    bridge.act("service machine", by=TECHNICIAN, machine=STERILISER, what="repair", why="door hinge")
    for address in ("/machines", f"/machines/{STERILISER}"):
        assert "out of service It was repaired: door hinge" in text(client.get(address))
    assert f'href="/machines/{STERILISER}"' in client.get("/").text


def test_the_sheet_of_a_month_holds_its_loads_tests_releases_and_services_and_no_others(site):
    bridge, client = site
    _, load = bridge.ready()
    bridge.act("place indicator", load=load, indicator="biological", lot="B-1", control_lot="B-1", due="2026-03-06")
    bridge.act("service machine", by=MANAGER, machine=STERILISER, what="water")
    said = text(client.get(f"/machines/{STERILISER}/2026-03"))
    for part in ("1 loads, 1 judged pass, 1 released, 0 rejected.", load, "pass", "F0 60.00 min", "machine serviced",
                 "biological not yet read", "released 4 March"):  # fmt: skip
        assert part in said, part
    empty = text(client.get(f"/machines/{STERILISER}/2026-04"))
    assert "No load in this month." in empty
    assert "machine serviced" not in empty


@pytest.mark.parametrize(("address", "status"), [("L-K7-9", 404), ("nonsense", 404), ("L-K7-1/2026-13", 422), ("L-K7-9/2026-03", 404)])  # fmt: skip
def test_a_machine_or_a_month_that_is_none_is_said_in_one_page(site, address, status):
    _, client = site
    assert client.get(f"/machines/{address}").status_code == status


def test_a_load_links_to_its_machine(site):
    bridge, client = site
    _, load = bridge.ready()
    assert f'href="/machines/{STERILISER}"' in client.get(f"/loads/{load}").text
