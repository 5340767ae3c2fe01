"""What may be touched instead of scanned: what the station could take now, the likeliest first, and no more than a hand finds."""

import pytest

from service.stations.offers import MANY_SETS, MOST
from service.stations.screen import screen
from tests.practice import MANAGER, NURSE, QUARANTINE, SHELF, TECHNICIAN, card, patient, steam_load, wash_load


def offered(bridge, station):
    with bridge.desk.ledger.reading() as reader:
        return screen(reader, station)["offers"]


def touch(bridge, station, title, *then):
    """Touch what is offered under a title that begins so, then the cards named; the last answer."""
    code = next(one["code"] for one in offered(bridge, station) if one["title"].startswith(title))
    return [bridge.scan(station, one) for one in (code, *then)][-1]


def codes_at(bridge, station):
    return [one["code"] for one in offered(bridge, station)]


def test_the_way_from_the_wash_to_the_release_can_be_touched(bridge):
    bridge.new_set()
    touch(bridge, "wash-1", "Badge 003")
    touch(bridge, "wash-1", "Washer 1, load 0001")
    touch(bridge, "wash-1", "Dental extraction A", "DONE", "PASS")
    touch(bridge, "packing-1", "Badge 003")
    touch(bridge, "packing-1", "Dental extraction A", "YES", "YES", "YES", "YES", "2", "4", "DONE", "DONE")
    assert touch(bridge, "packing-1", "Dental extraction A")["headline"] == "Dental extraction A is labelled."
    touch(bridge, "loading-1", "Badge 003")
    touch(bridge, "loading-1", "Steriliser 1, load 0001")
    assert touch(bridge, "loading-1", "Dental extraction A", "DONE", "1")["verdict"] == "go"
    bridge.wait(40)
    touch(bridge, "unloading-1", "Badge 003")
    touch(bridge, "unloading-1", "Steam load 0001", "END", "PASS")
    touch(bridge, "unloading-1", "Dental extraction A", "DONE")
    bridge.judge(steam_load(1))
    touch(bridge, "store-1", "Badge 003")
    touch(bridge, "store-1", "Shelf 9")
    bridge.wait(40)
    assert touch(bridge, "store-1", "Dental extraction A")["headline"] == "Who is working here?"
    touch(bridge, "store-1", "Badge 003")
    assert touch(bridge, "store-1", "Dental extraction A")["headline"] == "Dental extraction A is on shelf 9."
    touch(bridge, "office-1", "Badge 005")
    assert touch(bridge, "office-1", "Steam load 0001", "YES")["headline"] == "Load 0001 is released."


def test_theatre_says_which_pack_to_fetch_from_where_the_oldest_first(bridge):
    made = [bridge.ready(name, number)[0] for number, name in enumerate(("Eye set 1", "Eye set 2", "Eye set 3"), 1)]
    bridge.scans("store-1", TECHNICIAN, SHELF)
    bridge.wait(40)
    bridge.scans("store-1", TECHNICIAN, made[1], "YES")
    bridge.act("compromise", pack=made[2], why="missing")
    bridge.scans("theatre-1", NURSE, patient(812))
    assert [(one["title"], one["note"]) for one in offered(bridge, "theatre-1")] == [
        ("Eye set 1", "last seen at unloading-1, use by 31 August"),
        ("Eye set 2", "shelf 2, use by 31 August"),
    ]
    bridge.scan("theatre-1", made[0])
    assert codes_at(bridge, "theatre-1") == [made[1]]
    bridge.wait(181 * 24 * 60)
    bridge.scans("theatre-1", NURSE, "YES")
    assert codes_at(bridge, "theatre-1") == []


def test_nobody_signed_on_is_offered_the_badges_of_those_who_work_here_first(bridge):
    assert MANAGER in codes_at(bridge, "wash-1")
    bridge.scan("store-1", NURSE)
    assert codes_at(bridge, "wash-1")[0] == NURSE
    bridge.act("staff left", badge=TECHNICIAN)
    assert TECHNICIAN not in codes_at(bridge, "wash-1")


def test_an_auditor_is_not_offered_as_somebody_who_scans(bridge):
    auditor = "B-K7-006-D"
    bridge.act("enrol staff", badge=auditor, roles=["auditor"], may_release=False)
    assert auditor not in codes_at(bridge, "wash-1")


def test_a_question_is_answered_by_its_cards_and_nothing_else_is_offered(bridge):
    pack, _ = bridge.ready()
    bridge.scans("store-1", TECHNICIAN, SHELF, pack)
    assert offered(bridge, "store-1") == []


def test_a_load_begun_is_offered_before_the_next_card(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(7), one)
    bridge.scan("wash-2", NURSE)
    assert codes_at(bridge, "wash-2") == [wash_load(7), wash_load(8)]
    bridge.act("stop machine", machine="W-K7-1", why="leaks")
    assert codes_at(bridge, "wash-2") == [wash_load(7)]


def test_what_comes_out_is_offered_once_the_end_is_known(bridge):
    pack = bridge.pack(washed(bridge))
    load = bridge.sterilise([pack], unload=False)
    assert codes_at(bridge, "unloading-1") == [pack]
    bridge.scans("loading-1", TECHNICIAN, steam_load(2), "OUT")
    assert codes_at(bridge, "loading-1") == []
    bridge.scan("unloading-2", TECHNICIAN)
    assert codes_at(bridge, "unloading-2") == [load]


def washed(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    return one


def test_nobodys_leave_to_pack_short_is_offered_to_touch(bridge):
    one = washed(bridge)
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "1", "DONE", "1", "DONE", "0", "DONE", "YES", "YES")
    with bridge.desk.ledger.reading() as reader:
        found = screen(reader, "packing-1")
    assert (found["step"], found["offers"]) == ("allow", [])
    assert bridge.scan("packing-1", NURSE)["verdict"] == "ask"


def test_no_more_is_offered_than_a_hand_finds_and_nothing_where_sets_are_many(bridge):
    for number in range(MOST + 3):
        bridge.new_set(f"Set {number}")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    assert len(offered(bridge, "wash-1")) == MOST
    for number in range(MANY_SETS):
        bridge.new_set(f"Other {number}")
    assert offered(bridge, "wash-1") == []


def test_a_stop_names_the_pages_it_speaks_of(bridge):
    pack = bridge.pack(washed(bridge))
    load = bridge.sterilise([pack])
    bridge.scans("theatre-1", NURSE, patient(812), pack)
    with bridge.desk.ledger.reading() as reader:
        shown = screen(reader, "theatre-1")
    assert shown["about"] == [
        {"href": f"/packs/{pack}", "title": f"Pack {pack}"},
        {"href": f"/loads/{load}", "title": "Load 0001"},
    ]
    assert (shown["rule"], shown["secret"]) == ("not_released", None)


@pytest.mark.parametrize(
    ("station", "code"), [("store-1", QUARANTINE), ("office-1", "S-K7-9999-E"), ("wash-1", card("YES"))]
)
def test_an_answer_that_is_no_stop_names_none(bridge, station, code):
    bridge.scans(station, TECHNICIAN, code)
    with bridge.desk.ledger.reading() as reader:
        assert screen(reader, station)["about"] == []
