"""The board: what is overdue and since when, filters that are links, timers, and one reckoning for all who look."""

import re
import threading

import pytest
from starlette.testclient import TestClient

from service.api.app import make_app
from service.custody.facts import stamp
from service.pages import live
from service.pages.board import SHOWS, board_page, filtered
from service.pages.live import LiveBoard
from service.pages.looks import Looks, span
from service.pages.routes import add_pages
from tests.practice import MANAGER, NURSE, SURGEON, TECHNICIAN, patient, steam_load, wash_load

BLUE, GREEN = ({"colour": colour, "pattern": "solid"} for colour in ("blue", "green"))


def board(bridge, show="", mark=""):
    with bridge.desk.ledger.reading() as reader:
        return filtered(board_page(Looks(reader, stamp(bridge.at))), show, mark)


def late(bridge):
    """What is overdue: titles and words."""
    return [f"{need.title} {need.text}" for need in board(bridge).overdue]


def test_a_set_is_overdue_when_it_is_soiled_for_longer_than_the_site_allows(bridge):
    pack, _ = bridge.ready("Eye set 1")
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    bridge.wait(60 * 4 - 1)
    assert [need.text for need in board(bridge).soiled] == ["soiled for 3 h 59 min, since 4 March 08:44."]
    assert late(bridge) == []
    bridge.wait(3)
    assert late(bridge) == ["Eye set 1 is soiled. To the wash with it: soiled for 4 h 2 min, since 4 March 08:44."]
    bridge.scans("wash-1", TECHNICIAN, wash_load(2), bridge.record("pack", pack).set)
    assert late(bridge) == [] and board(bridge).soiled == ()


def test_a_set_failed_at_the_wash_is_soiled_since_it_was_opened(bridge):
    pack, _ = bridge.ready("Eye set 1")
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    bridge.wait(60)
    bridge.scans("wash-1", TECHNICIAN, wash_load(2), bridge.record("pack", pack).set, "DONE", "FAIL")
    assert bridge.where(bridge.pack_of(bridge.record("pack", pack).set)) == "soiled"
    assert "since 4 March 08:44" in board(bridge).soiled[0].text


def test_an_unused_opened_set_is_not_soiled(bridge):
    pack, _ = bridge.ready("Eye set 1")
    bridge.act("open unused", pack=pack)
    assert board(bridge).soiled == ()


@pytest.mark.parametrize(
    ("reach", "minutes", "said"),
    [
        ("wash", 180, "Wash load 0001 has not ended. Its wash began 3 h 0 min ago. Scan its end."),
        ("packed", 48 * 60, "Eye set 1 is not loaded. Packed 2 days ago, and in no load since."),
        ("open", 16 * 60, "Load 0001 stood open overnight. Open since 4 March 08:02. Start it, or take its packs out."),
        ("started", 180, "Load 0001 has not ended. Its cycle began 3 h 0 min ago. Scan its end."),
        ("ended", 24 * 60, "Load 0001 waits for release. Its cycle ended 1 day ago."),
    ],
)
def test_what_stands_at_a_station_too_long_is_overdue_there_and_not_before(bridge, reach, minutes, said):
    one = bridge.new_set("Eye set 1")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    if reach != "wash":
        bridge.scans("wash-1", "DONE", "PASS")
        pack = bridge.pack(one)
    if reach in {"open", "started", "ended"}:
        bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack)
    if reach in {"started", "ended"}:
        bridge.scans("loading-1", "DONE", "1")
    if reach == "ended":
        bridge.scans("unloading-1", TECHNICIAN, steam_load(1), "END", "PASS", pack, "DONE")
        bridge.judge(steam_load(1))
    bridge.wait(minutes - 3)
    assert late(bridge) == []
    bridge.wait(3.5)
    assert late(bridge) == [said]


def test_a_biological_is_overdue_the_day_after_it_was_due_and_listed_once(bridge):
    _, load = bridge.ready()
    bridge.act("place indicator", load=load, indicator="biological", lot="B-1", control_lot="B-1", due="2026-03-06")
    bridge.wait(60 * 24 * 2)
    assert late(bridge) == [] and any("Biological not yet read" in need.text for need in board(bridge).needs)
    bridge.wait(60 * 24)
    assert late(bridge) == ["Load 0001 has a biological nobody read. It was due 6 March."]
    assert board(bridge).needs == ()
    bridge.act("read indicator", load=load, indicator="biological", result="negative", lot="B-1", control="grew")
    assert late(bridge) == []


def test_a_case_left_open_and_an_override_nobody_stood_for_are_overdue(bridge):
    one = bridge.new_set("Eye set 1")
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.sterilise([pack])
    bridge.scans("theatre-1", NURSE, patient(812), pack, SURGEON, "=no other", "TURNED")
    bridge.wait(60 * 9)
    assert [said for said in late(bridge) if "Case" in said] == [
        f"Case 0001 is still open. {patient(812)}: opened 9 h 0 min ago. Close it in theatre."
    ]
    bridge.wait(60 * 16)
    said = f"The override on Eye set 1 is unconfirmed. {SURGEON} made it 1 day 1 h ago: it waits for the PIN."
    assert said in late(bridge)
    bridge.act("confirm override", by=SURGEON, pack=pack)
    bridge.scans("theatre-1", NURSE, "K-DONE-P", "YES", "=nobody counted")
    assert [words for words in late(bridge) if "override" in words or "Case" in words] == []


def test_limits_are_the_sites_own(at_work):
    bridge = at_work(soiled_hours=1)
    pack, _ = bridge.ready("Eye set 1")
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    bridge.wait(62)
    assert late(bridge)[0].startswith("Eye set 1 is soiled.")


def test_a_held_load_names_who_may_release_it_however_long_ago_it_was(bridge):
    _, load = bridge.ready()
    bridge.act("hold", load=load, why="door not shut")
    for number in range(2, 70):
        bridge.act("open steam load", by=TECHNICIAN, load=steam_load(number))
    need = board(bridge).needs[0]
    assert (need.title, need.verdict) == ("Load 0001 is on hold.", "stop")
    assert need.text == f"Door not shut. 1 pack; waits for {MANAGER}, {NURSE}."


def test_a_timer_says_when_a_load_is_cool_until_it_is(bridge):
    _, load = bridge.ready()
    timer = board(bridge).timers[0]
    ended = bridge.record("load", load).ended_at
    assert (timer.words, timer.link) == ("Load 0001 is cool at", f"/loads/{load}")
    assert timer.clock == f"{int(ended[11:13]):02d}:{int(ended[14:16]) + 30 - 60:02d}".replace("08:", "09:")
    bridge.wait(31)
    assert board(bridge).timers == ()


def lived_in(bridge):
    """A blue set held, a green one soiled, another blue one nobody used yet."""
    first, load = bridge.ready("Dental A", mark=BLUE)
    bridge.act("hold", load=load, why="door not shut")
    other, _ = bridge.ready("Eye set 1", 2, mark=GREEN)
    bridge.scans("theatre-1", NURSE, patient(812), other, "TURNED")
    bridge.new_set("Dental B", mark=BLUE)
    return first


def tiles(page):
    return sorted(tile.name for segment in page.segments for tile in segment.tiles)


def test_a_filter_shows_only_what_it_names_and_the_way_back(bridge):
    lived_in(bridge)
    assert tiles(board(bridge)) == ["Dental A", "Dental B", "Eye set 1"]
    held = board(bridge, "held")
    assert (tiles(held), [need.title for need in held.needs]) == (["Dental A"], ["Load 0001 is on hold."])
    assert (held.soiled, held.overdue, held.expiring, held.timers) == ((), (), (), ())
    assert tiles(board(bridge, "soiled")) == ["Eye set 1"]
    assert tiles(board(bridge, mark="blue")) == ["Dental A", "Dental B"]
    assert tiles(board(bridge, "soiled", "blue")) == []
    assert tiles(board(bridge, "nonsense", "nonsense")) == tiles(board(bridge))


def test_each_filter_is_a_link_that_says_which_one_holds(tmp_path, on_disk):
    lived_in(on_disk)
    client = TestClient(make_app(on_disk.desk, add_pages))
    text = client.get("/?show=held&mark=blue").text
    nav = text[text.index('id="choices"') : text.index("</nav>", text.index('id="choices"'))]
    assert re.findall(r'<a href="([^"]+)" aria-current="true">([^<]+)', nav) == [
        ("/?show=held&amp;mark=blue", "Held 1"),
        ("/?show=held&amp;mark=blue", "Mark blue"),
    ]
    assert '<a href="/">All</a>' in nav
    for show in SHOWS:
        assert f"/?show={show}&amp;mark=blue" in nav
        assert client.get(f"/?show={show}").status_code == 200
    assert "Ready" not in text
    assert client.get("/").text.count('aria-current="true">All') == 1


def test_the_part_an_open_board_fetches_is_what_the_page_holds(on_disk):
    lived_in(on_disk)
    client = TestClient(make_app(on_disk.desk, add_pages))
    for address in ("", "?show=held", "?mark=green"):
        part, whole = client.get(f"/board{address}").text, client.get(f"/{address}").text
        assert part.strip() in whole
        assert "<html" not in part


def test_the_board_is_worked_out_once_for_all_who_look_until_a_fact_or_a_minute_comes(bridge, monkeypatch):
    made = []
    monkeypatch.setattr(live, "board_page", lambda looks, asked: made.append(looks.now) or board_page(looks, asked))
    shared = LiveBoard(bridge.desk)
    looking = [threading.Thread(target=shared.page) for _ in range(8)]
    for one in looking:
        one.start()
    for one in looking:
        one.join()
    assert len(made) == 1
    bridge.new_set("Dental B")
    assert tiles(shared.page()) == ["Dental B"]
    assert len(made) == 2
    bridge.wait(1)
    assert shared.page().now == stamp(bridge.at)
    assert len(made) == 3


@pytest.mark.parametrize(("minutes", "words"), [(0, "0 min"), (59, "59 min"), (60, "1 h 0 min"), (1440, "1 day"), (3050, "2 days 2 h")])  # fmt: skip
def test_a_span_of_time_is_said_in_two_units_at_most(minutes, words):
    from datetime import timedelta

    assert span(timedelta(minutes=minutes)) == words
