"""The machine log: what was done to a machine, when it is due again, and what stops it."""

import pytest

from service.custody.practice import ProgrammeLimits
from tests.practice import MANAGER, TECHNICIAN, steam_load, wash_load

STERILISER = "L-K7-1"


def serviced(bridge, what, by=TECHNICIAN, **more):
    return bridge.act("service machine", by=by, machine=STERILISER, what=what, **more)


def machine(bridge):
    return bridge.record("machine", STERILISER)


def test_the_latest_of_each_kind_of_service_is_kept_with_its_next_day_and_the_counter(bridge):
    for what, counter, due in (("gasket", 1200, "2026-09-01"), ("water", None, None), ("gasket", 1300, "2026-12-01")):
        assert serviced(bridge, what, counter=counter, next_due=due)["verdict"] == "go"
    found = machine(bridge)
    assert [(what, due) for what, _, due in found.services] == [("water", None), ("gasket", "2026-12-01")]
    assert found.counter == 1300
    assert found.stopped is None
    assert len(bridge.facts("machine_serviced")) == 3


def test_a_repair_or_a_move_stops_a_steriliser_until_three_proving_loads_in_a_row_are_negative(bridge):
    """Three consecutive empty cycles after a move or a major repair: CDC 2008 text (CHECKS 5, READ-2)."""
    for what, words in (("repair", "It was repaired: door hinge"), ("move", "It was moved: door hinge")):
        assert serviced(bridge, what, why="door hinge")["verdict"] == "go"
        assert machine(bridge).stopped == words
        assert bridge.facts()[-1].kind == "machine_stopped"
        for result in ("negative", "positive", "negative", "negative", "negative"):
            assert back(bridge)["rule"] == "not_proven"
            proving_load(bridge, result)
        assert back(bridge)["verdict"] == "go"
        assert (machine(bridge).stopped, machine(bridge).prove_since) == (None, 0)


def back(bridge):
    return bridge.act("return machine", by=MANAGER, machine=STERILISER, why="proven")


def proving_load(bridge, result):
    """An empty cycle with a biological that is read at once."""
    load = steam_load(len(bridge.facts("cycle_started")) + 1)
    assert bridge.scans("loading-1", TECHNICIAN, load, "DONE", "3")["verdict"] == "go"
    bridge.scans("unloading-1", TECHNICIAN, load, "END", "PASS")
    bridge.act("place indicator", load=load, indicator="biological", lot="B-9", control_lot="B-9", due="2026-03-06")
    bridge.act("read indicator", load=load, indicator="biological", result=result, lot="B-9", control="grew")
    return load


@pytest.mark.parametrize(
    ("indicator", "result"), [("air removal", "fail"), ("leak", "fail"), ("biological", "positive")]
)
def test_a_failed_test_or_a_positive_biological_stops_the_machine_for_goods(bridge, indicator, result):
    """A positive biological takes a machine out of service: CDC 2008, table 12. Failed tests: common practice, no source."""
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    load = proving_load(bridge, "negative")
    bridge.act("read indicator", load=load, indicator=indicator, result=result, lot="T", control="grew")
    assert load in machine(bridge).stopped
    bridge.scans("loading-1", TECHNICIAN, steam_load(2))
    assert bridge.scan("loading-1", pack)["rule"] == "machine_stopped"
    for _ in range(3):
        proving_load(bridge, "negative")
    assert back(bridge)["verdict"] == "go"
    bridge.scans("loading-1", steam_load(7), pack)
    assert bridge.scan("loading-1", "DONE")["verdict"] == "ask"


def test_a_test_that_fails_while_a_machine_is_proven_begins_the_count_anew(bridge):
    before = proving_load(bridge, "negative")
    serviced(bridge, "repair", why="pump")
    last = [proving_load(bridge, "negative") for _ in range(2)][-1]
    bridge.act("read indicator", load=last, indicator="leak", result="fail", lot="T")
    assert last in machine(bridge).stopped
    proving_load(bridge, "negative")
    assert back(bridge)["rule"] == "not_proven"
    bridge.act("read indicator", load=before, indicator="biological", result="positive", lot="B-9", control="grew")
    for _ in range(2):
        proving_load(bridge, "negative")
    assert back(bridge)["verdict"] == "go"


def test_a_proving_load_begun_before_the_stop_proves_nothing(bridge):
    before = [proving_load(bridge, "negative") for _ in range(3)]
    serviced(bridge, "repair", why="pump")
    assert len(before) == 3
    assert back(bridge)["rule"] == "not_proven"


def test_a_machine_stopped_by_a_person_runs_nothing_and_returns_by_a_person(bridge):
    bridge.act("stop machine", by=TECHNICIAN, machine=STERILISER, why="water on the floor")
    assert bridge.scans("loading-1", TECHNICIAN, steam_load(1))["rule"] == "machine_stopped"
    assert back(bridge)["verdict"] == "go"


def test_a_repair_needs_its_reason_and_a_service_needs_none(bridge):
    assert serviced(bridge, "repair")["verdict"] == "stop"
    assert bridge.facts("machine_serviced") == []
    assert serviced(bridge, "calibration")["verdict"] == "go"


def test_a_repaired_washer_needs_no_proving_loads(bridge):
    bridge.act("service machine", by=TECHNICIAN, machine="W-K7-1", what="repair", why="pump")
    assert bridge.record("machine", "W-K7-1").stopped is None


def test_a_counter_that_goes_back_is_refused_unless_a_repair_brought_a_new_one(bridge):
    serviced(bridge, "service", counter=1200)
    answer = serviced(bridge, "filter", counter=1199)
    assert (answer["verdict"], answer["headline"]) == ("stop", "The counter of a machine does not go back.")
    assert "1200 before, and now 1199" in answer["detail"]
    assert serviced(bridge, "repair", counter=1, why="new controller")["verdict"] == "go"
    assert machine(bridge).counter == 1


def test_a_machine_nobody_knows_and_a_service_that_is_none_are_refused(bridge):
    assert bridge.act("service machine", by=TECHNICIAN, machine="L-K7-9", what="water")["verdict"] == "stop"
    assert serviced(bridge, "polish")["verdict"] == "stop"
    assert bridge.facts("machine_serviced") == []


def test_the_log_stays_when_a_machine_is_registered_again(bridge):
    serviced(bridge, "water", counter=7)
    before = machine(bridge)
    bridge.act("register machine", machine=STERILISER, kind="steriliser", removal="gravity", name="Steriliser 1",
               programmes=["134/3"])  # fmt: skip
    assert (machine(bridge).services, machine(bridge).counter) == (before.services, 7)


def test_a_judgement_keeps_its_measures_for_charts_and_one_without_a_log_has_none(bridge):
    _, load = bridge.ready()
    assert bridge.record("load", load).plateau_c_hundredths is None
    bridge.act("judge cycle", load=load, verdict="pass", basis="log", hold_s=200, f0_hundredths=6000,
               log_sha256="0" * 64, plateau_c_hundredths=13512, heating_s=604, drying_s=None)  # fmt: skip
    found = bridge.record("load", load)
    assert (found.plateau_c_hundredths, found.heating_s, found.drying_s) == (13512, 604, None)


def other_machine(bridge, removal, programmes):
    bridge.act(
        "register machine",
        machine="L-K7-2",
        kind="steriliser",
        removal=removal,
        name="Steriliser 2",
        programmes=programmes,
    )


def test_a_gravity_machine_runs_no_programme_that_pumps_and_has_no_pump_to_test(at_work):
    names = {
        "134/3": ProgrammeLimits("134/3", 134, removal="active"),
        "121/30": ProgrammeLimits("121/30", 121, ("wrapped",), removal="gravity"),
    }
    bridge = at_work(programmes=names)
    other_machine(bridge, "gravity", ["134/3", "121/30"])
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("loading-1", TECHNICIAN, steam_load(1, 2), "DONE")
    assert bridge.scan("loading-1", "1")["rule"] == "nothing_to_test"
    bridge.scans("loading-1", steam_load(1, 2), bridge.pack(one), "DONE")
    assert bridge.scan("loading-1", "1")["rule"] == "cannot_pump"
    assert bridge.scan("loading-1", "2")["verdict"] == "go"


@pytest.mark.parametrize(("what", "number", "goes"), [
    ({}, "1", True), ({}, "2", True), ({}, "3", False), ({"hollow": True}, "1", True), ({"hollow": True}, "2", False),
    ({"kind": "textile"}, "2", False), ({"kind": "textile"}, "3", True),
])  # fmt: skip
def test_a_programme_takes_only_what_it_may_hold(at_work, what, number, goes):
    holds = {"134/3": ("wrapped", "hollow", "textile"), "121/30": ("wrapped",), "121/30 textiles": ("textile",)}
    bridge = at_work(programmes={name: ProgrammeLimits(name, float(name[:3]), kinds) for name, kinds in holds.items()})
    other_machine(bridge, "gravity", list(holds))
    one = bridge.new_set(**what)
    bridge.wash([one])
    bridge.scans("loading-1", TECHNICIAN, steam_load(1, 2), bridge.pack(one), "DONE")
    answer = bridge.scan("loading-1", number)
    assert (answer["verdict"], answer["rule"]) == (("go", None) if goes else ("stop", "not_for_these"))


def test_a_set_that_must_not_be_under_water_is_cleaned_by_hand(bridge):
    one = bridge.new_set(immersible=False)
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    assert bridge.scan("wash-1", one)["rule"] == "not_under_water"
