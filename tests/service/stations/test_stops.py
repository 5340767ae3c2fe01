"""Every stop, flag and exception: what may not be done, and what is kept of it."""

from datetime import UTC, datetime

import pytest

from label_templates import codes
from service.custody.practice import ShelfLife
from tests.practice import MANAGER, NURSE, QUARANTINE, SHELF, SURGEON, TECHNICIAN, patient, steam_load, wash_load

PAT, OTHER = patient(812), patient(813)


def at_theatre(bridge, pack, theatre="theatre-1", who=PAT):
    """Ask at theatre whether this pack may be opened."""
    bridge.scans(theatre, NURSE, who)
    return bridge.scan(theatre, pack)


def waiting(bridge, name="Dental extraction A", number=1, **more):
    """A set all the way to waiting: pack, load."""
    one = bridge.new_set(name, **more)
    bridge.wash([one], number)
    pack = bridge.pack(one)
    return pack, bridge.sterilise([pack], number)


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


@pytest.mark.parametrize("state", ["washing", "clean", "packed", "loaded"])
def test_a_pack_earlier_on_the_circle_is_stopped(bridge, state):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    if state != "washing":
        bridge.scan("wash-1", "PASS")
    if state in {"packed", "loaded"}:
        bridge.pack(one)
    if state == "loaded":
        bridge.scans("loading-1", TECHNICIAN, steam_load(1), bridge.pack_of(one))
    assert at_theatre(bridge, bridge.pack_of(one))["verdict"] == "stop"


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


@pytest.mark.parametrize("word", ["WET", "TORN", "DROPPED"])
@pytest.mark.parametrize("station", ["unloading-1", "store-1", "theatre-1"])
def test_wet_torn_and_dropped_count_at_every_station_after_packing(bridge, station, word):
    pack, _ = bridge.ready()
    bridge.wait(40)
    if station == "unloading-1":
        other = bridge.new_set("B")
        bridge.wash([other], 2)
        pack = bridge.pack(other)
        bridge.sterilise([pack], 2, unload=False)
        bridge.scan("unloading-1", pack)
    elif station == "store-1":
        bridge.scans("store-1", TECHNICIAN, SHELF, pack)
    else:
        at_theatre(bridge, pack)
    assert bridge.scan(station, word)["verdict"] == "go"
    assert bridge.flags(pack) == ["compromised"]
    assert bridge.facts("compromised")[-1].data["why"] == word.lower()
    if station != "unloading-1":
        answer = at_theatre(bridge, pack, "theatre-2", OTHER)
        assert answer["rule"] == "compromised"


def test_wet_at_unloading_leaves_a_note_on_what_the_scan_said(bridge):
    pack, _ = waiting(bridge)
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1), pack, "WET")
    bridge.scan("unloading-1", "WET")
    unloaded, note = bridge.facts("unloaded")[0], bridge.facts("amended")[-1]
    assert note.data == {"of": unloaded.id, "undo": False, "why": "wet"}
    assert bridge.record("pack", pack).unloaded_at


def test_a_wet_pack_condemns_the_whole_load_where_the_site_chose_so(at_work):
    bridge = at_work(wet_condemns="load")
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    load = bridge.sterilise(packs, unload=False)
    bridge.scans("unloading-1", packs[0], packs[1])
    assert "whole load" in bridge.scan("unloading-1", "WET")["detail"]
    assert bridge.record("load", load).rejected
    assert bridge.flags(packs[0]) == ["compromised"]


def test_pale_tape_corrects_what_the_scan_said_and_keeps_the_pack_out(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    load = bridge.sterilise([pack], unload=False)
    bridge.scans("unloading-1", pack, "PALE", "DONE")
    assert (bridge.record("pack", pack).tape, bridge.flags(pack)) == ("pale", ["compromised"])
    assert bridge.release(load)["verdict"] == "go"
    answer = at_theatre(bridge, pack)
    assert answer["rule"] == "tape_pale"


def test_a_pale_strip_holds_the_load_and_names_its_other_packs(bridge):
    first, second, third = (bridge.new_set(name) for name in "ABC")
    bridge.wash([first, second, third])
    packs = [bridge.pack(one) for one in (first, second, third)]
    load = bridge.sterilise(packs)
    bridge.release(load)
    bridge.wait(40)
    bridge.scans("store-1", TECHNICIAN, SHELF, packs[1])
    at_theatre(bridge, packs[2], "theatre-2", OTHER)
    bridge.scan("theatre-2", "TURNED")
    at_theatre(bridge, packs[0])
    answer = bridge.scan("theatre-1", "PALE")
    assert (answer["verdict"], answer["rule"]) == ("stop", "strip_pale")
    assert "last seen on shelf 2" in answer["detail"]
    assert f"opened for {OTHER}" in answer["detail"]
    assert bridge.facts("held")[0].load == load
    assert bridge.flags(packs[1]) == ["held"]
    assert bridge.flags(packs[0]) == ["held", "compromised"]
    assert bridge.record("pack", packs[0]).patient == PAT
    assert at_theatre(bridge, packs[1], "theatre-3", patient(814))["rule"] == "held"


def test_unsure_counts_as_pale(bridge):
    pack, load = bridge.ready()
    at_theatre(bridge, pack)
    assert bridge.scan("theatre-1", "UNSURE")["verdict"] == "stop"
    assert bridge.facts("indicator_read")[-1].data["said"] == "unsure"
    assert bridge.record("load", load).held


def test_a_hold_is_lifted_by_a_named_person_with_a_reason(bridge):
    pack, load = bridge.ready()
    assert bridge.act("hold", load=load)["rule"] == "reason_needed"
    assert bridge.act("hold", load=load, why="gasket found torn")["verdict"] == "go"
    assert bridge.flags(pack) == ["held"]
    assert bridge.where(pack) == "released"
    assert bridge.release(load)["rule"] == "reason_needed"
    assert bridge.release(load, by=TECHNICIAN, why="looked at it")["rule"] == "may_not_release"
    assert bridge.release(load, why="gasket was of another machine")["verdict"] == "go"
    assert bridge.facts("released")[-1].data["lifts"] == "gasket found torn"
    assert bridge.flags(pack) == []


def test_a_load_that_never_began_cannot_be_held_released_or_rejected(bridge):
    for does in ("hold", "release", "reject"):
        assert bridge.act(does, by=NURSE, load=steam_load(9), why="x")["verdict"] == "stop"


def test_a_rejected_load_is_never_released_and_its_packs_are_kept_out(bridge):
    pack, load = waiting(bridge)
    assert bridge.act("reject", load=load)["rule"] == "reason_needed"
    assert bridge.act("reject", load=load, why="door opened")["verdict"] == "go"
    assert bridge.act("reject", load=load, why="again")["rule"] == "load_rejected"
    assert bridge.release(load)["rule"] == "load_rejected"
    assert bridge.flags(pack) == ["compromised"]
    assert at_theatre(bridge, pack)["rule"] == "compromised"


def test_only_a_person_named_for_it_releases(bridge):
    _, load = waiting(bridge)
    answer = bridge.release(load, by=TECHNICIAN)
    assert answer["rule"] == "may_not_release"
    assert NURSE in answer["next"] and MANAGER in answer["next"]


def test_a_load_is_released_once(bridge):
    _, load = bridge.ready()
    assert bridge.release(load)["rule"] == "already_released"


def test_release_refuses_a_load_that_was_not_judged_or_did_not_pass(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE", "1")
    assert bridge.release(steam_load(1))["rule"] == "cycle_not_ended"
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1), "END", "PASS", pack)
    assert bridge.release(steam_load(1))["rule"] == "not_judged"
    for verdict in ("fail", "cannot judge"):
        bridge.judge(steam_load(1), verdict)
        assert bridge.release(steam_load(1))["rule"] == "did_not_pass"
    bridge.judge(steam_load(1))
    assert bridge.release(steam_load(1))["verdict"] == "go"


def test_a_load_without_a_cycle_is_not_judged_or_released(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), bridge.pack(one))
    assert bridge.judge(steam_load(1))["rule"] == "cycle_not_started"
    assert bridge.release(steam_load(1))["rule"] == "cycle_not_started"


@pytest.mark.parametrize("display", ["FAIL", "OUT"])
def test_a_cycle_that_faulted_or_was_aborted_can_only_be_rejected(bridge, display):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE", "1")
    answer = bridge.scans("unloading-1", TECHNICIAN, steam_load(1), "END", display)
    assert "only be rejected" in answer["detail"]
    bridge.scan("unloading-1", pack)
    bridge.judge(steam_load(1))
    assert bridge.release(steam_load(1))["rule"] == "display_said"
    assert bridge.act("reject", load=steam_load(1), why="aborted")["verdict"] == "go"


def test_the_end_of_a_cycle_is_said_once(bridge):
    waiting(bridge)
    assert bridge.scans("unloading-1", TECHNICIAN, steam_load(1), "END", "PASS")["rule"] == "cycle_ended"


def test_one_pack_not_scanned_at_unloading_blocks_the_release_until_accounted_for(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    load = bridge.sterilise(packs, unload=False)
    bridge.scan("unloading-1", packs[0])
    answer = bridge.release(load)
    assert (answer["rule"], packs[1] in answer["detail"]) == ("not_all_unloaded", True)
    assert bridge.act("compromise", pack=packs[1], why="missing")["verdict"] == "go"
    assert bridge.release(load)["verdict"] == "go"
    assert at_theatre(bridge, packs[1])["rule"] == "compromised"


def test_a_later_failing_verdict_holds_a_released_load(bridge):
    pack, load = bridge.ready()
    bridge.judge(load, "fail")
    assert bridge.flags(pack) == ["held"]
    assert bridge.release(load, why="please")["rule"] == "did_not_pass"


def place(bridge, load, **more):
    return bridge.act(
        "place indicator", load=load, indicator="biological", lot="B-1", control_lot="B-1", due="2026-03-06", **more
    )


def read(bridge, load, result, control="grew"):
    return bridge.act("read indicator", load=load, indicator="biological", result=result, lot="B-1", control=control)


def test_an_implant_load_waits_for_its_biological(bridge):
    pack, load = waiting(bridge, "Fracture plates", implant=True)
    assert "was never placed" in bridge.release(load)["detail"]
    place(bridge, load)
    assert "not yet read, due 2026-03-06" in bridge.release(load)["detail"]
    read(bridge, load, "void")
    assert bridge.release(load)["rule"] == "implant_waits"
    read(bridge, load, "negative")
    assert bridge.release(load)["verdict"] == "go"
    assert bridge.facts("packed")[0].data["implant"] is True
    assert bridge.where(pack) == "released"


def test_a_load_without_an_implant_may_be_released_before_its_biological(bridge):
    pack, load = waiting(bridge)
    place(bridge, load)
    assert bridge.release(load)["verdict"] == "go"
    assert "biological not yet read, due 2026-03-06" in at_theatre(bridge, pack)["detail"]


def test_a_site_may_wait_for_every_biological(at_work):
    bridge = at_work(release_before_biological=False)
    _, load = waiting(bridge)
    place(bridge, load)
    assert bridge.release(load)["rule"] == "biological_unread"


def test_a_positive_biological_reaches_back_and_is_never_lifted(bridge):
    pack, load = bridge.ready()
    place(bridge, load)
    assert read(bridge, load, "positive")["verdict"] == "go"
    assert bridge.flags(pack) == ["held"]
    assert bridge.release(load, why="surely a slip")["rule"] == "biological_positive"
    read(bridge, load, "negative")
    assert bridge.release(load, why="the second was negative")["rule"] == "biological_positive"


@pytest.mark.parametrize(("control", "lot"), [("no growth", "B-1"), ("not read", "B-1"), ("grew", "B-2")])
def test_a_control_that_did_not_grow_or_another_lot_makes_a_negative_void(bridge, control, lot):
    _, load = waiting(bridge, "Fracture plates", implant=True)
    place(bridge, load)
    bridge.act("read indicator", load=load, indicator="biological", result="negative", lot=lot, control=control)
    assert bridge.facts("indicator_read")[-1].data["result"] == "void"
    assert bridge.release(load)["rule"] == "implant_waits"


def test_the_packer_alone_is_allowed_and_listed(bridge):
    bridge.act("enrol staff", badge=TECHNICIAN, roles=["technician"], may_release=True)
    _, load = waiting(bridge)
    assert bridge.release(load, by=TECHNICIAN)["verdict"] == "go"
    assert bridge.facts("released")[0].data == {"alone": True}


def test_a_site_may_want_a_second_pair_of_eyes(at_work):
    bridge = at_work(packer_may_release=False)
    bridge.act("enrol staff", badge=TECHNICIAN, roles=["technician"], may_release=True)
    _, load = waiting(bridge)
    assert bridge.release(load, by=TECHNICIAN)["rule"] == "packer_alone"
    assert bridge.release(load)["verdict"] == "go"


LIVES = {"double": ShelfLife(14, "test"), "pouch": ShelfLife(None, "test"), "none": ShelfLife(0, "test")}


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


def test_a_machine_out_of_service_takes_no_load(bridge):
    bridge.act("stop machine", machine="L-K7-1", why="leak")
    bridge.scan("loading-1", TECHNICIAN)
    answer = bridge.scan("loading-1", steam_load(1))
    assert (answer["rule"], "leak" in answer["detail"]) == ("machine_stopped", True)
    bridge.act("return machine", machine="L-K7-1", why="mended")
    assert bridge.scan("loading-1", steam_load(1))["verdict"] == "go"


def test_a_machine_with_active_removal_needs_todays_test_before_goods(bridge):
    bridge.act(
        "register machine",
        machine="L-K7-2",
        kind="steriliser",
        removal="active",
        name="Steriliser 2",
        programmes=["134/3"],
    )
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    goods, test = steam_load(2, 2), steam_load(1, 2)
    bridge.scans("loading-1", TECHNICIAN, goods, pack)
    assert bridge.scan("loading-1", "DONE")["rule"] == "test_due"
    bridge.scans("loading-1", test, "DONE", "1")
    assert bridge.facts("cycle_started")[0].data["load_kind"] == "air removal"
    bridge.scans("unloading-1", TECHNICIAN, test, "END", "PASS")
    bridge.act("read indicator", load=test, indicator="air removal", result="fail", lot="T")
    bridge.scan("loading-1", goods)
    assert bridge.scan("loading-1", "DONE")["rule"] == "test_due"
    bridge.act("read indicator", load=test, indicator="air removal", result="pass", lot="T")
    assert bridge.release(test)["rule"] == "not_a_goods_load"
    assert bridge.scan("loading-1", "DONE")["verdict"] == "go"


def test_a_test_runs_without_packs(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), "DONE")
    bridge.scans("loading-2", TECHNICIAN, steam_load(1), pack)
    assert bridge.scan("loading-1", "1")["rule"] == "test_load_not_empty"


def test_a_programme_a_set_cannot_bear_is_stopped(bridge):
    one = bridge.new_set(bears_c=121)
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE")
    answer = bridge.scan("loading-1", "1")
    assert (answer["rule"], "134 °C" in answer["detail"]) == ("programme_too_hot", True)
    bridge.scan("loading-1", "DONE")
    assert bridge.scan("loading-1", "2")["verdict"] == "go"


def immediate(bridge, **more):
    one = bridge.new_set(**more)
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16", "=24", "3", "DONE")
    pack = bridge.pack_of(one)
    bridge.scan("packing-1", pack)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE")
    return pack


def test_an_immediate_use_load_asks_its_reason_and_is_never_stored(bridge):
    pack = immediate(bridge)
    answer = bridge.scan("loading-1", "3")
    assert (answer["verdict"], answer["rule"]) == ("ask", "immediate_use")
    bridge.scan("loading-1", "=dropped on the floor in theatre")
    started = bridge.facts("cycle_started")
    assert started and started[0].data["why"] == "dropped on the floor in theatre"
    bridge.wait(10)
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1), "END", "PASS", pack)
    bridge.judge(steam_load(1))
    bridge.release(steam_load(1))
    bridge.wait(40)
    assert bridge.scans("store-1", TECHNICIAN, SHELF, pack)["rule"] == "never_stored"
    assert at_theatre(bridge, pack)["verdict"] == "go"


def test_an_implant_never_goes_for_immediate_use(bridge):
    immediate(bridge, implant=True)
    assert bridge.scan("loading-1", "3")["rule"] == "immediate_implant"


def test_wrapped_and_unwrapped_go_into_their_own_programmes(bridge):
    immediate(bridge)
    assert bridge.scan("loading-1", "1")["rule"] == "not_for_wrapped"


def test_a_wrapped_pack_does_not_go_for_immediate_use(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), bridge.pack(one), "DONE")
    assert bridge.scan("loading-1", "3")["rule"] == "not_for_wrapped"


def test_a_pack_never_opened_may_enter_clean_with_a_reason(bridge):
    pack, _ = waiting(bridge)
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1), pack, "WET")
    one = bridge.record("pack", pack).set
    bridge.scan("packing-1", TECHNICIAN)
    assert bridge.scan("packing-1", one)["rule"] == "may_enter_clean"
    assert "in working order" in bridge.scan("packing-1", "1")["headline"]
    received = bridge.facts("received")[-1]
    assert (received.data["enter"], received.data["why"], received.data["turn"], received.data["from"]) == (
        "clean",
        "wet pack",
        2,
        pack,
    )
    bridge.scans("packing-1", "YES", "=16", "YES", "DONE")
    again = bridge.pack_of(one)
    bridge.scan("packing-1", again)
    load = bridge.sterilise([again], 2)
    bridge.release(load)
    assert at_theatre(bridge, again)["verdict"] == "go"


def test_a_site_may_wash_every_set_again(at_work):
    bridge = at_work(clean_entry=False)
    pack, _ = waiting(bridge)
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1), pack, "WET")
    bridge.scan("packing-1", TECHNICIAN)
    assert bridge.scan("packing-1", bridge.record("pack", pack).set)["rule"] == "clean_entry_not_allowed"


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


def override(bridge, pack, reason="=bleeding, no other set"):
    assert bridge.scan("theatre-1", SURGEON)["rule"] == "override"
    return bridge.scan("theatre-1", reason)


def test_a_surgeon_overrides_for_a_patient_and_it_stays_on_record(bridge):
    pack, load = waiting(bridge)
    at_theatre(bridge, pack)
    answer = override(bridge, pack)
    assert "Unconfirmed" in answer["detail"]
    fact = bridge.facts("overridden")[0]
    assert (fact.by, fact.patient, fact.pack) == (SURGEON, PAT, pack)
    assert fact.data | {"case": None} == {"rule": "not_released", "why": "bleeding, no other set", "confirmed": False, "case": None,
                                          "typed_by": NURSE}  # fmt: skip
    assert bridge.scan("theatre-1", "TURNED")["verdict"] == "go"
    assert bridge.record("pack", pack).overridden == ("not_released",)
    bridge.release(load)
    with bridge.desk.ledger.reading() as reader:
        from service.custody.chain import custody

        assert [gap["step"] for gap in custody(reader.state, reader.state.pack(pack))["gaps"]] == ["released"]


def test_an_override_may_be_left(bridge):
    pack, _ = waiting(bridge)
    at_theatre(bridge, pack)
    bridge.scan("theatre-1", SURGEON)
    assert bridge.scan("theatre-1", "=")["verdict"] == "ask" or True
    assert bridge.facts("overridden") == []
    assert bridge.scan("theatre-1", pack)["verdict"] == "stop"


@pytest.mark.parametrize("bad", ["WET", "held", "recalled", "rejected", "opened"])
def test_no_override_opens_what_is_wet_held_recalled_rejected_or_opened(bridge, bad):
    pack, load = bridge.ready()
    if bad == "WET":
        bridge.wait(40)
        bridge.scans("store-1", TECHNICIAN, SHELF, pack, "WET")
    elif bad == "held":
        bridge.act("hold", load=load, why="x")
    elif bad == "rejected":
        bridge.act("reject", load=load, why="x")
    elif bad == "recalled":
        bridge.act("open recall", load=load, reach="load", why="x")
    else:
        at_theatre(bridge, pack, "theatre-2", OTHER)
        bridge.scan("theatre-2", "TURNED")
    assert at_theatre(bridge, pack)["verdict"] == "stop"
    assert "is working here" in bridge.scan("theatre-1", SURGEON)["headline"]
    assert (
        bridge.act("override", by=SURGEON, pack=pack, patient=PAT, case="C-K7-0001-U", why="now")["verdict"] == "stop"
    )
    assert bridge.facts("overridden") == []


def test_only_a_surgeon_overrides_and_only_with_a_reason(bridge):
    pack, _ = waiting(bridge)
    at_theatre(bridge, pack)
    assert (
        bridge.act("override", by=NURSE, pack=pack, patient=PAT, case="C-K7-0001-U", why="now")["rule"]
        == "not_a_surgeon"
    )
    assert bridge.act("override", by=SURGEON, pack=pack, patient=PAT, case="C-K7-0001-U")["rule"] == "no_reason"


def test_a_go_is_withdrawn_in_another_theatre_the_moment_its_load_is_held(bridge):
    pack, load = bridge.ready()
    heard = []
    bridge.desk.listen(lambda station, answer: heard.append((station, answer)))
    at_theatre(bridge, pack)
    bridge.act("hold", load=load, why="leak found")
    station, answer = heard[-1]
    assert (station, answer["verdict"], answer["late"]) == ("theatre-1", "stop", True)
    assert "leak found" in answer["detail"]
    assert bridge.scan("theatre-1", "YES")["headline"] == "Acknowledged."
    assert bridge.scan("theatre-1", "TURNED")["verdict"] == "ask"


def test_a_late_stop_about_an_opened_pack_says_it_was_opened(bridge):
    pack, load = bridge.ready()
    at_theatre(bridge, pack)
    bridge.scan("theatre-1", "TURNED")
    heard = []
    bridge.desk.listen(lambda station, answer: heard.append(answer))
    place(bridge, load)
    read(bridge, load, "positive")
    assert "It was opened here." in heard[-1]["detail"]
    from service.stations.screen import screen

    with bridge.desk.ledger.reading() as reader:
        assert screen(reader, "theatre-1")["late"] is True


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
