"""Theatre and the case: opened, returned, unused, counted, closed."""

import pytest

from label_templates import codes
from tests.practice import (
    NURSE,
    SHELF,
    TECHNICIAN,
    patient,
    wash_load,
)
from tests.service.stations.steps import kinds

PAT = patient(812)


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
    assert bridge.scan("theatre-1", "UNUSED")["verdict"] == "ask"
    assert bridge.act("open unused", pack=pack)["rule"] == "already_opened"
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
