"""The packing station: inspected, counted, wrapped, labelled."""

import pytest

from tests.practice import (
    NURSE,
    TECHNICIAN,
    patient,
    steam_load,
    wash_load,
)

PAT = patient(812)


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


def test_a_pack_without_its_label_scanned_is_not_loaded(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16", "=24", "DONE")
    bridge.scans("loading-1", TECHNICIAN, steam_load(1))
    assert bridge.scan("loading-1", bridge.pack_of(one))["rule"] == "not_labelled"


def test_typed_text_is_kept_without_control_characters_and_composed(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16", "= \u202e24\0-e\u0301 ", "DONE")
    assert bridge.facts("packed")[0].data["strip_lot"] == "24-é"


def test_a_sheet_changed_in_mid_count_is_counted_anew(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES")
    shorter = [{"group": "Forceps", "line": "Extraction forceps", "count": 1}]
    assert bridge.act("change set", set=one, sheet=shorter, why="one sent for repair")["verdict"] == "go"
    answer = bridge.scan("packing-1", "YES")
    assert (answer["headline"], answer["detail"][:43]) == ("Forceps: 1?", "The count sheet was changed meanwhile: coun")
    bridge.scans("packing-1", "YES", "=24", "DONE")
    packed = bridge.facts("packed")[0]
    assert packed.data["lines"] == [{"line": "Extraction forceps", "expected": 1, "found": 1}]
    assert bridge.record("set", one).sheet == (("Forceps", "Extraction forceps", 1),)


@pytest.mark.parametrize(("sheet", "why", "rule"), [
    ([], "a reason", "bad_value"),
    ([{"group": "g", "line": "l", "count": 1}] * 2, "a reason", "bad_value"),
    ([{"group": "g", "line": "l", "count": 1}], "", "reason_needed"),
])  # fmt: skip
def test_a_count_sheet_is_not_changed_to_nonsense_or_without_a_reason(bridge, sheet, why, rule):
    one = bridge.new_set()
    before = bridge.record("set", one).sheet
    assert bridge.act("change set", set=one, sheet=sheet, why=why)["rule"] == rule
    assert bridge.record("set", one).sheet == before


def test_the_code_on_the_strips_box_names_the_lot_and_strips_out_of_date_are_not_taken(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16")
    past, wrong, bare, good = (
        "=0109506000134352172601311024-99", "=0109506000134353172803311024-117", "=010950600013435217280331",
        "=]C10109506000134352172803311024-117\x1d21XYZ",
    )  # fmt: skip
    assert bridge.scan("packing-1", past)["headline"] == "These strips were good until 31 January 2026."
    assert bridge.scan("packing-1", wrong)["headline"] == "The code on this box does not hold."
    assert bridge.scan("packing-1", bare)["headline"] == "The code on this box names no lot."
    assert bridge.scan("packing-1", good)["headline"] == "Close Dental extraction A?"
    bridge.scan("packing-1", "DONE")
    assert bridge.facts("packed")[0].data["strip_lot"] == "24-117"
