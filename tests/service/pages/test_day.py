"""A station's day: in order, with who and when, refusals, what was taken back, and when it stood still."""

import re

import pytest
from starlette.testclient import TestClient

from service.access.policy import STATION, door
from service.api.app import make_app
from service.custody.facts import stamp
from service.pages.day import day_page
from service.pages.looks import Looks
from service.pages.routes import add_pages
from tests.practice import NURSE, SHELF, TECHNICIAN, patient, wash_load


def day(bridge, station, asked=""):
    with bridge.desk.ledger.reading() as reader:
        return day_page(Looks(reader, stamp(bridge.at)), station, asked)


@pytest.fixture
def store(bridge):
    """A pack put away, a quiet hour, a second shelf taken back, and a scan that was refused."""
    pack, _ = bridge.ready("Eye set 1")
    bridge.wait(60)
    bridge.scans("store-1", TECHNICIAN, SHELF, pack)
    bridge.wait(75)
    bridge.scans("store-1", TECHNICIAN, SHELF, pack, "UNDO")
    dirty = bridge.new_set("Eye set 2")
    bridge.scans("wash-1", TECHNICIAN, wash_load(2), dirty)
    bridge.scans("store-1", bridge.pack_of(dirty))
    return bridge


def test_a_day_tells_in_order_what_happened_who_did_it_and_what_was_refused(store):
    page = day(store, "store-1")
    assert (page.title, page.day, page.said) == ("Store 1", "Wednesday 4 March 2026", "4 facts, 1 refused")
    assert [(line.what, line.refused, line.undone) for line in page.lines] == [
        ("stored", False, False), ("stored", False, True), ("amended", False, False), ("refused", True, False),
    ]  # fmt: skip
    first, last = page.lines[0], page.lines[-1]
    assert (first.at, first.subject, first.who) == ("09:44", "Eye set 1, turn 1", TECHNICIAN)
    assert last.link.startswith("/packs/") and last.about[0][1].startswith("This pack does not go on a shelf.")


def test_a_stretch_in_which_nothing_happened_is_named_and_hatched(store):
    page = day(store, "store-1")
    assert [line.quiet for line in page.lines] == ["", "Nothing for 1 h 15 min", "", ""]
    assert page.strip_svg.count('fill="url(#still)"') == 1
    assert "1 h 15 min</text>" in page.strip_svg
    assert page.strip_svg.count('class="refused"') == 1
    assert page.strip_svg.count("stroke-dasharray") == 1


def test_a_strip_runs_from_seven_to_seven_and_further_where_something_happened(bridge):
    def ticks():
        return re.findall(r">(\d\d:\d\d)<", day(bridge, "wash-1").strip_svg)

    bridge.scans("wash-1", TECHNICIAN, wash_load(1), bridge.new_set("A"))
    assert (ticks()[0], ticks()[-1], len(ticks())) == ("07:00", "19:00", 13)
    bridge.wait(60 * 13)
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), bridge.new_set("B"))
    assert ticks()[0] == "07:00" and "21:00" in ticks()
    xs = [float(x) for x in re.findall(r'<path d="M([\d.]+) 88V58"', day(bridge, "wash-1").strip_svg)]
    assert len(xs) == 4 and all(24 <= x <= 1056 for x in xs) and xs == sorted(xs)


def test_the_days_beside_it_are_a_link_away_and_there_is_none_after_today(store):
    today = day(store, "store-1")
    assert (today.before, today.after) == ("/stations/store-1/day?date=2026-03-03", "")
    before = day(store, "store-1", "2026-03-03")
    assert (before.lines, before.strip_svg, before.after) == ((), "", "/stations/store-1/day?date=2026-03-04")


def test_a_day_is_the_sites_local_day(at_work):
    bridge = at_work(tz="Pacific/Auckland")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), bridge.new_set("A"), "DONE", "PASS")
    assert day(bridge, "wash-1").lines[0].at == "21:00"
    bridge.wait(60 * 4)
    bridge.scans("wash-1", TECHNICIAN, wash_load(2), bridge.new_set("B"))
    assert [line.at[:3] for line in day(bridge, "wash-1").lines] == ["01:", "01:"]
    assert len(day(bridge, "wash-1", "2026-03-04").lines) == 3


def test_the_page_is_behind_its_stations_door_and_a_wrong_day_says_so(on_disk):
    bridge = on_disk
    pack, _ = bridge.ready("Eye set 1")
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    client = TestClient(make_app(bridge.desk, add_pages))
    text = client.get("/stations/theatre-1/day").text
    assert "Theatre 1: Wednesday 4 March 2026" in text and f'href="/packs/{pack}"' in text
    assert "Nothing was recorded here on this day." in client.get("/stations/theatre-2/day?date=2026-03-01").text
    assert client.get("/stations/theatre-1/day?date=soon").status_code == 422
    assert client.get("/stations/kitchen-1/day").status_code == 422
    assert "/stations/wash-1/day" in client.get("/stations").text
    assert door("GET", "/stations/theatre-1/day") == STATION
