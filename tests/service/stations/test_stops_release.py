"""Release, reject, hold and indicators: who may, when, and what keeps a load waiting."""

import pytest

from tests.practice import MANAGER, NURSE, SHELF, SURGEON, TECHNICIAN, patient, steam_load
from tests.service.stations.steps import OTHER, PAT, at_theatre, immediate, override, place, read, waiting


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
    bridge.act("read indicator", load=test, indicator="air removal", result="pass", lot="T")
    bridge.scan("loading-1", goods)
    assert bridge.release(test)["rule"] == "not_a_goods_load"
    assert bridge.scan("loading-1", "DONE")["verdict"] == "go"


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
