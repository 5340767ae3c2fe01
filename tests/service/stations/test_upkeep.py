"""The machine log: what was done to a machine, when it is due again, and what stops it."""

from tests.practice import MANAGER, TECHNICIAN

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


def test_a_repair_or_a_move_stops_a_steriliser_and_says_what_brings_it_back(bridge):
    for what, words in (("repair", "It was repaired"), ("move", "It was moved")):
        assert serviced(bridge, what, why="door hinge")["verdict"] == "go"
        stopped = machine(bridge).stopped
        assert stopped.startswith(words)
        assert stopped.endswith("three proving loads in a row that are negative: door hinge")
        assert bridge.facts()[-1].kind == "machine_stopped"
        bridge.act("return machine", by=MANAGER, machine=STERILISER, why="proven")
        assert machine(bridge).stopped is None


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
