"""Stops in theatre and what is kept of them; overrides; late stops; damage anywhere."""

from datetime import UTC, datetime

import pytest

from label_templates import codes
from tests.practice import NURSE, QUARANTINE, SHELF, SURGEON, TECHNICIAN, patient, wash_load
from tests.service.stations.steps import LIVES, OTHER, PAT, at_theatre, waiting


def test_a_pack_that_is_not_released_is_stopped_with_the_next_right_step(bridge):
    pack, load = waiting(bridge)
    answer = at_theatre(bridge, pack)
    assert (answer["verdict"], answer["rule"]) == ("stop", "not_released")
    assert load[7:11] in answer["detail"]
    assert answer["next"] == "Fetch another pack, and scan it before opening."
    refused = bridge.facts("refused")[-1]
    assert (refused.pack, refused.data["code"], refused.data["rule"]) == (pack, pack, "not_released")


def test_the_next_right_step_names_a_set_with_the_same_sheet_and_its_shelf(bridge):
    ready, _ = bridge.ready("Dental extraction B", 1)
    bridge.wait(40)
    bridge.scans("store-1", TECHNICIAN, SHELF, ready)
    pack, _ = waiting(bridge, "Dental extraction A", 2)
    assert at_theatre(bridge, pack)["next"] == "Fetch Dental extraction B from shelf 2, and scan it before opening."


def test_an_unknown_pack_is_stopped_and_no_badge_opens_it(bridge):
    unknown = codes.pack_code(codes.set_code("K7", 99).text, 1).text
    assert at_theatre(bridge, unknown)["rule"] == "unknown_code"
    assert "is working here" in bridge.scan("theatre-1", SURGEON)["headline"]


def test_a_wrong_check_character_is_stopped_and_another_text_is_not_quoted(bridge):
    bridge.scan("store-1", TECHNICIAN)
    assert (
        bridge.desk.scan({"id": bridge.new_id(), "station": "store-1", "code": "P-K7-0042-0017-X"}).result()["rule"]
        == "unreadable"
    )
    assert bridge.facts("refused")[-1].data["code"] == "P-K7-0042-0017-X"
    bridge.desk.scan({"id": bridge.new_id(), "station": "store-1", "code": "Mrs. Someone, a dog"}).result()
    assert bridge.facts("refused")[-1].data["code"] is None


def test_another_sites_code_is_stopped(bridge):
    theirs = codes.pack_code(codes.set_code("Q9", 1).text, 1).text
    assert at_theatre(bridge, theirs)["rule"] == "wrong_site"


def test_a_pack_already_opened_is_stopped_for_a_second_patient(bridge):
    pack, _ = bridge.ready()
    at_theatre(bridge, pack)
    bridge.scan("theatre-1", "TURNED")
    answer = at_theatre(bridge, pack, "theatre-2", OTHER)
    assert answer["rule"] == "already_opened"
    assert PAT in answer["detail"]
    assert bridge.record("pack", pack).patient == PAT


def test_unsure_counts_as_pale(bridge):
    pack, load = bridge.ready()
    at_theatre(bridge, pack)
    assert bridge.scan("theatre-1", "UNSURE")["verdict"] == "stop"
    assert bridge.facts("indicator_read")[-1].data["said"] == "unsure"
    assert bridge.record("load", load).held


@pytest.mark.parametrize(
    ("at", "verdict"),
    [
        (datetime(2026, 4, 1, 22, 59, tzinfo=UTC), "go"),  # 23:59 in London, summer time, on the last day
        (datetime(2026, 4, 1, 23, 1, tzinfo=UTC), "stop"),  # 00:01 the day after
    ],
)
def test_the_last_day_of_use_is_included_in_the_sites_local_time(at_work, at, verdict):
    bridge = at_work(shelf_lives=LIVES)
    bridge.at = datetime(2026, 3, 18, 9, tzinfo=UTC)
    pack, _ = bridge.ready()
    bridge.at = at
    answer = at_theatre(bridge, pack)
    assert answer["verdict"] == verdict
    if verdict == "stop":
        assert answer["rule"] == "expired"
        assert "1 April 2026" in answer["detail"]


def test_an_event_related_pack_has_no_date(at_work):
    bridge = at_work(shelf_lives=LIVES)
    pack, _ = bridge.ready(wrap="pouch")
    bridge.wait(60 * 24 * 700)
    assert "no date: look at the wrap" in at_theatre(bridge, pack)["detail"]


def test_a_provisional_patient_is_identified_later(bridge):
    pack, load = bridge.ready()
    roll = patient(900_001)
    at_theatre(bridge, pack, who=roll)
    bridge.scan("theatre-1", "TURNED")
    assert bridge.act("identify patient", patient=PAT, was=roll)["verdict"] == "go"
    with bridge.desk.ledger.reading() as reader:
        from service.custody.recall import report

        assert report(reader.state, reader.state.load(load), "load")["patients"] == [PAT]
    assert bridge.act("identify patient", patient=roll, was=PAT)["verdict"] == "stop"


def test_a_wristband_of_the_practices_own_is_a_patient(at_work):
    bridge = at_work(patient_pattern=r"PAT-\d+")
    pack, _ = bridge.ready()
    bridge.scan("theatre-1", NURSE)
    answer = bridge.desk.scan({"id": bridge.new_id(), "station": "theatre-1", "code": "PAT-77"}).result()
    assert answer["verdict"] == "go"
    bridge.scans("theatre-1", pack, "TURNED")
    assert bridge.record("pack", pack).patient == "PAT-77"


def test_an_override_may_be_left(bridge):
    pack, _ = waiting(bridge)
    at_theatre(bridge, pack)
    bridge.scan("theatre-1", SURGEON)
    assert bridge.scan("theatre-1", "=")["verdict"] == "ask" or True
    assert bridge.facts("overridden") == []
    assert bridge.scan("theatre-1", pack)["verdict"] == "stop"


def test_only_a_surgeon_overrides_and_only_with_a_reason(bridge):
    pack, _ = waiting(bridge)
    at_theatre(bridge, pack)
    assert (
        bridge.act("override", by=NURSE, pack=pack, patient=PAT, case="C-K7-0001-U", why="now")["rule"]
        == "not_your_role"
    )
    assert bridge.act("override", by=SURGEON, pack=pack, patient=PAT, case="C-K7-0001-U")["rule"] == "no_reason"


def test_a_pack_compromised_after_the_asking_is_not_opened(bridge):
    pack, _ = bridge.ready()
    at_theatre(bridge, pack)
    bridge.act("compromise", pack=pack, why="torn")
    assert bridge.scan("theatre-1", "TURNED")["verdict"] == "ask"
    assert bridge.facts("opened") == []


def test_a_retired_set_goes_nowhere(bridge):
    one = bridge.new_set()
    assert bridge.act("retire set", set=one)["rule"] == "reason_needed"
    bridge.act("retire set", set=one, why="worn out")
    assert bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)["rule"] == "set_retired"


def test_a_pack_out_of_theatre_that_was_not_released_does_not_return(bridge):
    pack, _ = bridge.ready()
    at_theatre(bridge, pack)
    bridge.scan("theatre-1", "TURNED")
    assert bridge.act("return pack", pack=pack)["rule"] == "not_returned"


def test_a_waiting_pack_from_theatre_goes_to_quarantine(bridge):
    pack, _ = waiting(bridge)
    bridge.wait(40)
    assert bridge.act("return pack", pack=pack)["verdict"] == "go"
    assert bridge.scans("store-1", TECHNICIAN, QUARANTINE, pack)["verdict"] == "go"


@pytest.mark.parametrize("state", ["packed", "opened", "wet"])
def test_the_store_refuses_what_does_not_belong_there(bridge, state):
    pack, _ = bridge.ready()
    bridge.wait(40)
    if state == "packed":
        one = bridge.new_set("B")
        bridge.wash([one], 2)
        pack = bridge.pack(one)
    elif state == "opened":
        at_theatre(bridge, pack)
        bridge.scan("theatre-1", "TURNED")
    else:
        bridge.scans("store-1", TECHNICIAN, SHELF, pack, "WET")
    assert bridge.scans("store-1", TECHNICIAN, SHELF, pack)["rule"] == "not_for_the_shelf"
