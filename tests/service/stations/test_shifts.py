"""People come and go: two at one station, a change of shift, a badge forgotten, a load left open overnight."""

from tests.practice import NURSE, TECHNICIAN, patient, steam_load, wash_load
from tests.service.stations.steps import waiting


def test_two_people_at_one_station_each_stand_for_their_own_scans(bridge):
    one, two = bridge.new_set("Eye set 1"), bridge.new_set("Eye set 2")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    answer = bridge.scan("wash-1", NURSE)
    assert answer["detail"] == "Wash load 0001 is open here, begun at 08:00."
    bridge.scans("wash-1", two, "DONE", "PASS")
    assert [(fact.set, fact.by) for fact in bridge.facts("wash_loaded")] == [(one, TECHNICIAN), (two, NURSE)]
    assert bridge.facts("wash_ended")[0].by == NURSE


def test_a_question_to_one_person_is_not_answered_by_another(bridge):
    pack, load = waiting(bridge)
    bridge.scans("office-1", TECHNICIAN, load)
    bridge.scan("office-1", NURSE)
    bridge.scan("office-1", "YES")
    assert all(fact.by != TECHNICIAN for fact in bridge.facts("released"))
    del pack


def test_a_badge_forgotten_costs_one_scan_and_nothing_is_lost(bridge):
    one, two = bridge.new_set("Eye set 1"), bridge.new_set("Eye set 2")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    bridge.wait(40)
    answer = bridge.scan("wash-1", two)
    assert (answer["rule"], answer["next"]) == ("nobody_signed_on", "Scan your badge, then scan this again.")
    assert bridge.scans("wash-1", NURSE, two)["headline"] == "Eye set 2 is in the wash."
    assert [fact.by for fact in bridge.facts("wash_loaded")] == [TECHNICIAN, NURSE]


def test_a_change_of_shift_goes_on_with_the_open_case(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), pack)
    bridge.scan("theatre-1", TECHNICIAN)
    assert bridge.scan("theatre-1", "TURNED")["verdict"] == "go"
    opened = bridge.facts("opened")[0]
    assert (opened.by, opened.patient) == (TECHNICIAN, patient(812))


def test_a_load_left_open_overnight_is_asked_about_once(bridge):
    packs = []
    for number, name in enumerate(("Eye set 1", "Eye set 2", "Eye set 3"), 1):
        one = bridge.new_set(name)
        bridge.wash([one], number)
        packs.append(bridge.pack(one))
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), packs[0])
    bridge.wait(18 * 60)
    assert "Load 0001 is open here, begun at" in bridge.scan("loading-1", NURSE)["detail"]
    answer = bridge.scan("loading-1", packs[1])
    assert (answer["verdict"], answer["rule"]) == ("ask", "still_this_load")
    assert len(bridge.facts("loaded")) == 1
    assert bridge.scan("loading-1", "YES")["headline"] == "Eye set 2 is in."
    assert bridge.scan("loading-1", packs[2])["headline"] == "Eye set 3 is in."


def test_a_load_left_open_overnight_may_be_left_for_another(bridge):
    one, two = bridge.new_set("Eye set 1"), bridge.new_set("Eye set 2")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    bridge.wait(18 * 60)
    bridge.scan("wash-1", NURSE)
    assert bridge.scan("wash-1", two)["rule"] == "still_this_load"
    bridge.scans("wash-1", "NO", wash_load(2))
    assert bridge.scan("wash-1", two)["headline"] == "Eye set 2 is in the wash."
    assert bridge.facts("wash_loaded")[-1].load == wash_load(2)
