"""The circle, station by station: what each scan answers and writes."""

import pytest

from label_templates import codes
from tests.practice import (
    MANAGER,
    NURSE,
    QUARANTINE,
    SHELF,
    SURGEON,
    TECHNICIAN,
    card,
    patient,
    steam_load,
    wash_load,
)

PAT = patient(812)


def kinds(bridge, start=0):
    return [fact.kind for fact in bridge.facts()][start:]


def test_a_badge_says_who_is_working_here(bridge):
    answer = bridge.scan("wash-1", TECHNICIAN)
    assert (answer["verdict"], answer["facts"]) == ("go", [])
    assert "003" in answer["headline"]


def test_nothing_is_written_before_somebody_signs_on(bridge):
    answer = bridge.scan("wash-1", wash_load(1))
    assert (answer["verdict"], answer["rule"], answer["facts"]) == ("ask", "nobody_signed_on", [])


def test_after_a_quiet_spell_the_badge_is_asked_for_again(bridge):
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    bridge.wait(19)
    assert bridge.scan("wash-1", wash_load(1))["verdict"] == "go"
    bridge.wait(21)
    assert bridge.scan("wash-1", wash_load(1))["rule"] == "nobody_signed_on"


def test_the_badge_of_someone_who_left_is_stopped(bridge):
    bridge.act("staff left", badge=TECHNICIAN)
    assert bridge.scan("wash-1", TECHNICIAN)["rule"] == "not_on_staff"


def test_a_badge_on_duty_that_leaves_in_mid_shift_is_stopped(bridge):
    bridge.scan("wash-1", TECHNICIAN)
    bridge.act("staff left", badge=TECHNICIAN)
    assert bridge.scan("wash-1", wash_load(1))["rule"] == "not_on_staff"


def test_the_wash_begins_a_turn_and_mints_the_pack_code(bridge):
    one = bridge.new_set()
    before = len(bridge.facts())
    answer = bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    assert answer["verdict"] == "go"
    received, loaded = bridge.facts()[before:]
    assert (received.kind, received.data["turn"], received.data["enter"]) == ("received", 1, "soiled")
    assert received.pack == codes.pack_code(one, 1).text == loaded.pack
    assert (loaded.kind, loaded.load, received.load, loaded.by) == ("wash_loaded", wash_load(1), None, TECHNICIAN)
    assert bridge.where(received.pack) == "washing"


@pytest.mark.parametrize(("said", "state"), [("PASS", "clean"), ("FAIL", "soiled")])
def test_the_end_of_a_wash_says_pass_or_fail(bridge, said, state):
    one = bridge.new_set()
    assert bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, "DONE")["verdict"] == "ask"
    assert bridge.scan("wash-1", said)["verdict"] == "go"
    assert bridge.where(bridge.pack_of(one)) == state
    assert bridge.facts("wash_ended")[0].data == {"result": said.lower(), "steps": ["clean"]}


def test_a_set_of_a_failed_wash_goes_into_another_in_the_same_turn(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, "FAIL")
    bridge.wash([one], 2)
    assert (bridge.record("set", one).turn, bridge.where(bridge.pack_of(one))) == (1, "clean")


def test_a_wash_load_card_is_used_once(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    assert bridge.scan("wash-1", wash_load(1))["rule"] == "load_used"


def test_an_empty_wash_cannot_end(bridge):
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    assert bridge.scan("wash-1", "PASS")["rule"] == "load_not_open"


def test_a_set_scanned_twice_into_one_wash_is_told_so_and_nothing_is_written(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    before = len(bridge.facts())
    answer = bridge.scan("wash-1", one)
    assert (answer["verdict"], len(bridge.facts())) == ("go", before)
    assert "already" in answer["headline"]


def test_a_set_in_one_wash_is_stopped_at_another(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, wash_load(2))
    assert bridge.scan("wash-1", one)["rule"] == "in_another_wash"


def test_a_set_still_sealed_by_the_record_asks_at_the_wash(bridge):
    pack, _ = bridge.ready()
    one = bridge.record("pack", pack).set
    bridge.scans("wash-1", TECHNICIAN, wash_load(2))
    assert bridge.scan("wash-1", one)["rule"] == "still_sealed"
    assert bridge.scan("wash-1", "NO")["verdict"] == "go"
    assert bridge.record("set", one).turn == 1
    bridge.scan("wash-1", one)
    assert bridge.scan("wash-1", "YES")["verdict"] == "go"
    assert bridge.record("set", one).turn == 2
    assert "not opened by the record" in bridge.facts("received")[-1].data["why"]


def test_a_machine_nobody_registered_is_stopped(bridge):
    bridge.scan("wash-1", TECHNICIAN)
    assert bridge.scan("wash-1", wash_load(1, machine=7))["rule"] == "machine_unknown"
    bridge.scan("loading-1", TECHNICIAN)
    assert bridge.scan("loading-1", steam_load(1, machine=7))["rule"] == "machine_unknown"


def test_packing_looks_counts_and_closes_before_the_label(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scan("packing-1", TECHNICIAN)
    asked = [bridge.scan("packing-1", text)["headline"] for text in (one, "YES", "YES", "YES", "YES")]
    assert asked[1:4] == ["Forceps: 3?", "Elevators: 3?", "Gauze: 10?"]
    assert "lot" in asked[4]
    assert bridge.scan("packing-1", "=24-117")["verdict"] == "ask"
    assert bridge.scan("packing-1", "DONE")["headline"] == "Dental extraction A is packed."
    packed = bridge.facts("packed")[0]
    assert packed.data["lines"][0] == {"line": "Extraction forceps", "expected": 2, "found": 2}
    assert (packed.data["short"], packed.data["wrap"], packed.data["strip_lot"], packed.data["implant"]) == (
        [],
        "double",
        "24-117",
        False,
    )
    assert (packed.data["mass_g"], packed.data["shelf_days"]) == (None, 180)
    pack = bridge.pack_of(one)
    assert bridge.where(pack) == "packed"
    assert bridge.scan("packing-1", pack)["verdict"] == "go"
    assert bridge.facts("labelled")[0].pack == pack


def test_the_total_may_be_typed_for_all_groups(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16", "=24-117", "DONE")
    assert bridge.record("pack", bridge.pack_of(one)).packed_at


def test_digits_of_cards_gather_into_a_number(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "YES", "YES")
    assert bridge.scan("packing-1", "1")["headline"] == "1 …"
    bridge.scan("packing-1", "0")
    assert "lot" in bridge.scan("packing-1", "DONE")["headline"]


def test_one_done_never_stands_for_a_count(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES")
    answer = bridge.scan("packing-1", "DONE")
    assert (answer["verdict"], answer["headline"]) == ("ask", "Forceps: 3?")


def test_more_than_the_sheet_has_is_asked_about(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    answer = bridge.scans("packing-1", TECHNICIAN, one, "YES", "4", "DONE")
    assert "more than the sheet has" in answer["detail"]


def test_a_short_set_says_so_line_by_line_with_who_allowed_it(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES")
    assert bridge.scan("packing-1", "=2")["headline"] == "Extraction forceps: 2?"
    bridge.scan("packing-1", "YES")
    bridge.scan("packing-1", "=0")
    answer = bridge.scans("packing-1", "YES", "YES")
    assert "Root tip forceps (0 of 1)" in answer["detail"]
    assert bridge.scan("packing-1", NURSE)["verdict"] == "ask"
    bridge.scans("packing-1", "=24-117", "DONE")
    packed = bridge.facts("packed")[0]
    assert packed.data["short"] == [{"line": "Root tip forceps", "expected": 1, "found": 0}]
    assert (packed.data["allowed_by"], packed.by) == (NURSE, TECHNICIAN)
    assert bridge.record("pack", packed.pack).short == ("Root tip forceps: 0 of 1",)


@pytest.mark.parametrize(("number", "state"), [("1", "soiled"), ("2", "clean")])
def test_a_set_not_clean_or_not_dry_is_not_packed(bridge, number, state):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "NO", number)
    assert bridge.where(bridge.pack_of(one)) == state
    assert bridge.facts("packed") == []


def test_something_that_does_not_work_is_taken_out_and_the_set_goes_short(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    answer = bridge.scans("packing-1", TECHNICIAN, one, "NO", "3")
    assert "count what is left" in answer["detail"]
    assert bridge.facts("inspected")[0].data == {"clean": True, "dry": True, "works": False}


@pytest.mark.parametrize("state", ["new", "soiled", "washing"])
def test_a_set_that_was_not_washed_is_stopped_at_packing(bridge, state):
    one = bridge.new_set()
    if state != "new":
        bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, *(["FAIL"] if state == "soiled" else []))
    bridge.scan("packing-1", TECHNICIAN)
    answer = bridge.scan("packing-1", one)
    assert (answer["verdict"], answer["rule"]) == ("stop", "not_washed")


def test_the_wrong_label_is_stopped(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    bridge.pack(first)
    bridge.scans("packing-1", second, "YES", "=16", "YES", "DONE")
    assert bridge.scan("packing-1", bridge.pack_of(first))["rule"] == "wrong_label"
    assert bridge.scan("packing-1", bridge.pack_of(second))["verdict"] == "go"


def test_a_patient_label_at_packing_is_stopped_and_kept_as_refused(bridge):
    bridge.scan("packing-1", TECHNICIAN)
    answer = bridge.scan("packing-1", PAT)
    assert (answer["verdict"], answer["rule"]) == ("stop", "wrong_kind")
    assert bridge.facts("refused")[0].data["code"] == PAT


def test_a_set_packed_is_not_packed_again(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.pack(one)
    assert bridge.scan("packing-1", one)["rule"] == "already_packed"


def test_a_pack_goes_through_loading_and_unloading(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    start = len(bridge.facts())
    load = bridge.sterilise([pack])
    assert kinds(bridge, start) == [
        "loaded",
        "cycle_started",
        "cycle_ended",
        "unloaded",
        "indicator_read",
        "cycle_judged",
    ]
    started, ended, unloaded, read = (
        bridge.facts(k)[-1] for k in ("cycle_started", "cycle_ended", "unloaded", "indicator_read")
    )
    assert started.data == {"programme": "134/3", "load_kind": "goods"}
    assert ended.data == {"display": "complete"}
    assert unloaded.data == {"dry": True, "whole": True, "tape": "turned"}
    assert (read.data["indicator"], read.data["result"], read.load, read.pack) == ("tape", "turned", load, pack)
    assert bridge.where(pack) == "waiting"


def test_a_pack_without_its_label_scanned_is_not_loaded(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16", "=24", "DONE")
    bridge.scans("loading-1", TECHNICIAN, steam_load(1))
    assert bridge.scan("loading-1", bridge.pack_of(one))["rule"] == "not_labelled"


def test_out_takes_a_pack_out_of_the_load(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack)
    assert bridge.scan("loading-1", "OUT")["verdict"] == "ask"
    assert bridge.scan("loading-1", pack)["verdict"] == "go"
    assert (bridge.where(pack), bridge.record("load", steam_load(1)).packs) == ("packed", ())
    assert bridge.scan("loading-1", pack)["verdict"] == "go"
    assert bridge.record("load", steam_load(1)).packs == (pack,)


def test_a_pack_in_one_load_is_stopped_at_another(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, steam_load(2))
    assert bridge.scan("loading-1", pack)["rule"] == "already_loaded"


def test_an_empty_load_asks_which_test_it_is(bridge):
    bridge.scans("loading-1", TECHNICIAN, steam_load(1))
    assert "test" in bridge.scan("loading-1", "DONE")["headline"]
    assert bridge.scan("loading-1", "2")["verdict"] == "go"
    assert bridge.facts("cycle_started")[0].data["load_kind"] == "leak"


def test_nothing_goes_into_a_load_that_runs(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), packs[0], "DONE", "1", steam_load(1))
    assert bridge.scan("loading-1", steam_load(1))["rule"] == "cycle_running"


def test_a_choice_that_is_not_there_is_asked_again(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    answer = bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE", "9")
    assert (answer["verdict"], bridge.facts("cycle_started")) == ("ask", [])


def test_packs_come_out_only_after_the_end(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE", "1")
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1))
    assert bridge.scan("unloading-1", pack)["rule"] == "cycle_not_ended"


def test_a_load_that_was_never_started_cannot_be_unloaded(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack)
    bridge.scan("unloading-1", TECHNICIAN)
    assert bridge.scan("unloading-1", steam_load(1))["rule"] == "cycle_not_started"
    assert bridge.scan("unloading-1", steam_load(2))["rule"] == "load_not_open"


def test_a_pack_that_is_not_on_the_list_stops_at_unloading(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    bridge.sterilise(packs[:1], unload=False)
    answer = bridge.scan("unloading-1", packs[1])
    assert (answer["rule"], bridge.facts("refused")[-1].pack) == ("not_in_load", packs[1])


def test_done_at_unloading_names_the_packs_not_scanned(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    bridge.sterilise(packs, unload=False)
    bridge.scan("unloading-1", packs[0])
    answer = bridge.scan("unloading-1", "DONE")
    assert answer["verdict"] == "ask"
    assert packs[1] in answer["detail"]


def test_a_released_pack_goes_on_its_shelf(bridge):
    pack, _ = bridge.ready()
    bridge.wait(40)
    assert bridge.scans("store-1", TECHNICIAN, SHELF, pack)["verdict"] == "go"
    assert bridge.facts("stored")[0].data == {"shelf": SHELF}
    assert bridge.record("pack", pack).shelf == SHELF


def test_the_store_asks_for_the_shelf_first(bridge):
    pack, _ = bridge.ready()
    assert bridge.scans("store-1", TECHNICIAN, pack)["headline"] == "Which shelf?"


def test_a_waiting_pack_goes_to_quarantine_only(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.sterilise([pack])
    bridge.wait(40)
    assert bridge.scans("store-1", TECHNICIAN, SHELF, pack)["rule"] == "quarantine_only"
    assert bridge.scans("store-1", QUARANTINE, pack)["verdict"] == "go"


def test_a_warm_pack_asks_before_it_is_stored(bridge):
    pack, _ = bridge.ready()
    answer = bridge.scans("store-1", TECHNICIAN, SHELF, pack)
    assert answer["rule"] == "still_warm"
    assert bridge.scan("store-1", "YES")["verdict"] == "go"


def test_theatre_opens_a_pack_for_its_patient(bridge):
    pack, load = bridge.ready()
    start = len(bridge.facts())
    assert bridge.scans("theatre-1", NURSE, PAT)["verdict"] == "go"
    answer = bridge.scan("theatre-1", pack)
    assert (answer["verdict"], answer["facts"]) == ("go", [])
    assert "nothing against it so far" in answer["detail"]
    assert bridge.scan("theatre-1", "TURNED")["verdict"] == "go"
    assert kinds(bridge, start) == ["case_opened", "opened", "indicator_read"]
    opened, read = bridge.facts("opened")[0], bridge.facts("indicator_read")[-1]
    assert (opened.patient, opened.pack, opened.data["case"]) == (PAT, pack, codes.case_code("K7", 1).text)
    assert (read.data["indicator"], read.data["result"], read.data["lot"], read.load) == (
        "strip",
        "turned",
        "24-117",
        load,
    )
    assert bridge.where(pack) == "opened"


def test_a_pack_without_a_case_asks_for_the_patient(bridge):
    pack, _ = bridge.ready()
    assert bridge.scans("theatre-1", NURSE, pack)["rule"] == "no_case"


def test_the_case_goes_on_in_another_room_with_its_card(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, PAT)
    case = bridge.facts("case_opened")[0].data["case"]
    assert bridge.scans("theatre-2", NURSE, case, pack, "TURNED")["verdict"] == "go"
    assert bridge.record("case", case).packs == (pack,)


def test_another_patient_needs_the_case_closed_first(bridge):
    bridge.scans("theatre-1", NURSE, PAT)
    assert bridge.scan("theatre-1", PAT)["verdict"] == "go"
    assert bridge.scan("theatre-1", patient(813))["rule"] == "another_case_open"
    assert bridge.scan("theatre-1", "DONE")["verdict"] == "go"
    assert bridge.scan("theatre-1", patient(813))["verdict"] == "go"


def test_the_first_pack_after_a_quiet_quarter_of_an_hour_asks_for_the_patient(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, PAT)
    bridge.wait(16)
    answer = bridge.scan("theatre-1", pack)
    assert (answer["rule"], answer["headline"]) == ("still_this_patient", f"Still {PAT}?")
    assert bridge.scan("theatre-1", "YES")["verdict"] == "go"
    assert bridge.scan("theatre-1", "TURNED")["verdict"] == "go"


def test_a_sealed_pack_comes_back_and_asks_for_a_shelf(bridge):
    pack, _ = bridge.ready()
    bridge.wait(40)
    bridge.scans("theatre-1", NURSE, PAT, pack)
    assert bridge.scan("theatre-1", "RETURN")["verdict"] == "ask"
    assert bridge.scan("theatre-1", SHELF)["verdict"] == "go"
    assert (bridge.where(pack), bridge.record("pack", pack).shelf) == ("released", SHELF)
    assert [fact.patient for fact in bridge.facts("returned")] == [None]
    assert bridge.scan("theatre-1", "DONE")["verdict"] == "go"


def test_an_opened_unused_pack_goes_round_again_with_no_patient(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, PAT, pack)
    assert bridge.scan("theatre-1", "UNUSED")["verdict"] == "go"
    opened = bridge.facts("opened")[0]
    assert (opened.patient, opened.data["used"]) == (None, False)
    one = bridge.record("pack", pack).set
    assert bridge.scans("wash-1", TECHNICIAN, wash_load(2), one)["verdict"] == "go"
    assert bridge.record("set", one).turn == 2


def test_a_pack_recorded_as_opened_keeps_its_patient_against_unused(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, PAT, pack, "TURNED")
    assert bridge.scan("theatre-1", "UNUSED")["rule"] == "already_opened"
    assert bridge.record("pack", pack).patient == PAT


def test_the_set_tag_inside_is_checked_against_the_label(bridge):
    pack, _ = bridge.ready()
    other = bridge.new_set("Eye set 1")
    bridge.scans("theatre-1", NURSE, PAT, pack, "TURNED")
    assert bridge.scan("theatre-1", bridge.record("pack", pack).set)["verdict"] == "go"
    assert bridge.scan("theatre-1", other)["rule"] == "wrong_set_inside"


def test_gauze_is_counted_at_the_start_and_at_the_end(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, PAT, pack, "TURNED", "1", "0")
    assert bridge.scan("theatre-1", "DONE")["headline"] == "Gauze at the start: 10."
    assert bridge.scan("theatre-1", "=added 5")["verdict"] == "go"
    answer = bridge.scan("theatre-1", "=14")
    assert (answer["verdict"], answer["headline"]) == ("ask", "Gauze at the end: 14, not 15.")
    assert bridge.scan("theatre-1", "=end 15")["verdict"] == "go"
    assert bridge.scan("theatre-1", "DONE")["headline"] == "The case is closed."
    assert [f.data["expected"] for f in bridge.facts("counted")] == [10, 5, 15, 15]


@pytest.mark.parametrize(
    ("scans", "gap"),
    [
        (("P", "TURNED"), "not counted"),
        (("P", "TURNED", "=10", "=9"), "9 found, 10 expected"),
        (("P",), "asked about and not opened"),
    ],
)
def test_a_case_with_loose_ends_closes_only_with_a_reason(bridge, scans, gap):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, PAT, *(pack if s == "P" else s for s in scans))
    answer = bridge.scan("theatre-1", "DONE")
    assert (answer["verdict"], answer["rule"]) == ("ask", "close_with_gaps")
    assert gap in answer["detail"]
    assert bridge.scan("theatre-1", "NO")["verdict"] == "go"
    assert bridge.facts("case_closed") == []
    bridge.scan("theatre-1", "DONE")
    assert bridge.scan("theatre-1", "YES")["verdict"] == "ask"
    assert bridge.scan("theatre-1", "3")["verdict"] == "go"
    assert bridge.facts("case_closed")[0].data["why"] == "counted on paper"


def test_a_closed_case_is_not_gone_on_with(bridge):
    bridge.scans("theatre-1", NURSE, PAT, "DONE")
    case = bridge.facts("case_opened")[0].data["case"]
    assert bridge.scan("theatre-1", case)["rule"] == "case_closed"


def test_the_office_releases_by_card_after_showing_what_speaks_for_and_against(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    load = bridge.sterilise([bridge.pack(one)])
    answer = bridge.scans("office-1", NURSE, load)
    assert answer["verdict"] == "ask"
    assert "strips inside: not yet seen" in answer["detail"]
    assert "they went through a cycle, no more" in answer["detail"]
    assert bridge.scan("office-1", "YES")["verdict"] == "go"
    assert bridge.facts("released")[0].data == {"alone": False}


def test_the_office_rejects_by_card_with_a_typed_reason(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    load = bridge.sterilise([pack])
    assert bridge.scans("office-1", MANAGER, load, "FAIL", "=display said fault")["verdict"] == "go"
    assert bridge.flags(pack) == ["compromised"]
    assert "cannot be released by a card" in bridge.scan("office-1", load)["headline"]


def test_the_office_says_where_a_pack_or_set_is_and_never_go(bridge):
    pack, _ = bridge.ready()
    one = bridge.record("pack", pack).set
    for code in (pack, one):
        answer = bridge.scans("office-1", MANAGER, code)
        assert answer["verdict"] == "ask"
        assert "released" in answer["headline"]


def test_the_same_scan_sent_twice_gets_the_same_answer_and_writes_nothing(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    scan_id = bridge.new_id()
    first = bridge.scan("wash-1", one, scan_id)
    before = len(bridge.facts())
    assert bridge.scan("wash-1", one, scan_id) == first
    assert len(bridge.facts()) == before


def test_the_conversation_survives_a_restart(at_work, tmp_path):
    first = at_work()
    one = first.new_set()
    first.scans("wash-1", TECHNICIAN, wash_load(1))
    at = first.at
    second = at_work()
    second.at = at
    assert second.scan("wash-1", one)["verdict"] == "go"


def test_a_card_that_says_nothing_here_is_asked_about(bridge):
    bridge.scan("store-1", TECHNICIAN)
    assert bridge.scan("store-1", "TURNED")["rule"] == "no_meaning"
    assert bridge.scan("store-1", "=hello")["verdict"] == "ask"
    assert bridge.scan("store-1", card("WET"))["headline"] == "Which pack?"


def test_scans_arriving_out_of_order_keep_the_time_they_happened(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    early = (bridge.at.replace(minute=bridge.at.minute)).isoformat().replace("08:", "07:")
    bridge.scan("wash-1", one, seen_at=early)
    fact = bridge.facts("received")[0]
    assert fact.at.startswith("2026-03-04T07:")
    assert fact.noted_at.startswith("2026-03-04T08:")


def test_a_clock_ahead_becomes_now_and_the_fact_says_so(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    bridge.scan("wash-1", one, seen_at="2031-01-01T00:00:00Z")
    fact = bridge.facts("received")[0]
    assert fact.at == fact.noted_at
    assert fact.data["clock"] == "ahead"


def test_the_surgeon_is_no_technician_but_may_work_anywhere(bridge):
    assert bridge.scan("wash-1", SURGEON)["verdict"] == "go"


def test_a_service_clock_that_jumps_back_loses_nothing(bridge):
    one, two = bridge.new_set("A"), bridge.new_set("B")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    bridge.wait(-180)
    assert bridge.scan("wash-1", two)["verdict"] == "go"
    assert bridge.scan("wash-1", "PASS")["verdict"] == "go"
    notes = [fact.noted_at for fact in bridge.facts()]
    assert notes != sorted(notes)
    assert [fact.seq for fact in bridge.facts()] == list(range(1, len(notes) + 1))
