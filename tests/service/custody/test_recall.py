"""Recall: which packs and patients a load touches, in every reach."""

import pytest

from service.custody.chain import Nothing, State, replay
from service.custody.facts import Fact
from service.custody.practice import Practice
from service.custody.recall import REACHES, ReachError, advised, reach_of, report
from tests.practice import NURSE, TECHNICIAN, patient, steam_load, wash_load


class Writer:
    """Facts by hand, numbered as a ledger would."""

    def __init__(self):
        self.facts = []
        self.note("site_opened", name="K7")
        self.note("machine_registered", machine="L-K7-1", kind="steriliser", removal="gravity")
        for owner in ("S", *(f"S{number}" for number in range(1, 7))):
            self.note("set_registered", owner=owner, name=owner, kind="set", implant=False, sheet=[], number=1)

    def note(self, fact_kind, load=None, pack=None, owner=None, who=None, **data):
        at = f"2026-03-04T08:{len(self.facts):02d}:00.000Z"
        self.facts.append(
            Fact(
                fact_kind,
                at,
                "K7",
                "office-1",
                None,
                owner,
                pack,
                load,
                who,
                data,
                len(self.facts) + 1,
                str(len(self.facts)),
            )
        )

    @property
    def state(self):
        return replay(self.facts, State(Nothing(), Practice()))


# The worked case of the project's CHECKS, section 5: our design on the rule of CDC 2008, table 12.
@pytest.mark.parametrize("void_at", [None, 2, 4])
def test_since_reaches_from_the_last_negative_up_to_the_next(void_at):
    ledger = Writer()
    results = {1: "negative", 3: "positive", 6: "negative"}
    for number in range(1, 7):
        pack, owner = f"P{number}", f"S{number}"
        ledger.note("received", owner=owner, pack=pack, turn=1, enter="soiled")
        ledger.note("loaded", steam_load(number), pack, owner)
        ledger.note("cycle_started", steam_load(number), programme="134/3", load_kind="goods")
        if number in results or number == void_at:
            ledger.note(
                "indicator_read",
                steam_load(number),
                indicator="biological",
                lot="B",
                result=results.get(number, "void"),
            )
    state = ledger.state
    reached = reach_of(state, state.load(steam_load(3)), "since")
    assert list(reached.loads) == [steam_load(n) for n in (2, 3, 4, 5)]
    assert [pack.code for pack in reached.packs] == ["P2", "P3", "P4", "P5"]


def test_with_no_negative_before_since_reaches_from_the_first_and_test_loads_count():
    ledger = Writer()
    ledger.note("cycle_started", steam_load(1), programme="134/3", load_kind="air removal")
    ledger.note("cycle_started", steam_load(2), programme="134/3", load_kind="goods")
    state = ledger.state
    assert reach_of(state, state.load(steam_load(2)), "since").loads == (steam_load(1), steam_load(2))


def test_a_load_never_started_reaches_itself():
    ledger = Writer()
    ledger.note("received", owner="S", pack="P", turn=1, enter="soiled")
    ledger.note("loaded", steam_load(1), "P", "S")
    state = ledger.state
    assert [p.code for p in reach_of(state, state.load(steam_load(1)), "since").packs] == ["P"]


def test_a_load_of_another_machine_is_not_reached():
    ledger = Writer()
    for machine in (1, 2):
        ledger.note("cycle_started", steam_load(1, machine), programme="134/3", load_kind="goods")
    state = ledger.state
    assert reach_of(state, state.load(steam_load(1, 2)), "since").loads == (steam_load(1, 2),)


def look(bridge, load, reach):
    with bridge.desk.ledger.reading() as reader:
        return report(reader.state, reader.state.load(load), reach)


def test_a_pack_taken_out_again_is_not_on_the_list(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), *packs, "OUT", packs[0], "DONE", "1")
    assert [row["pack"] for row in look(bridge, steam_load(1), "load")["packs"]] == [packs[1]]


def test_a_turned_strip_or_a_passing_verdict_takes_nothing_off_the_list(bridge):
    pack, load = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    found = look(bridge, load, "load")
    (row,) = found["packs"]
    assert row == {"pack": pack, "set": bridge.record("pack", pack).set, "state": "opened", "flags": [], "load": load,
                   "patients": [patient(812)], "opened_at": bridge.record("pack", pack).opened_at, "shelf": None}  # fmt: skip
    assert found["patients"] == [patient(812)]
    assert found["counts"] == {"loads": 1, "packs": 1, "patients": 1, "opened": 1}
    assert found["why"] == REACHES["load"]


def test_onward_reaches_every_later_turn_of_the_sets(bridge):
    pack, load = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), pack, "UNUSED")
    one = bridge.record("pack", pack).set
    bridge.wash([one], 2)
    later = bridge.pack(one)
    assert [row["pack"] for row in look(bridge, load, "onward")["packs"]] == [pack, later]
    assert [row["pack"] for row in look(bridge, load, "load")["packs"]] == [pack]
    assert [row["pack"] for row in look(bridge, wash_load(2), "onward")["packs"]] == [later]


def test_implants_reaches_only_packs_with_an_implant(bridge):
    plain, plates = bridge.new_set("A"), bridge.new_set("Plates", implant=True)
    bridge.wash([plain, plates])
    packs = [bridge.pack(plain), bridge.pack(plates)]
    load = bridge.sterilise(packs)
    assert [row["pack"] for row in look(bridge, load, "implants")["packs"]] == [packs[1]]


@pytest.mark.parametrize("reach", ["since", "implants", "sideways"])
def test_a_wash_load_has_no_such_reach(bridge, reach):
    one = bridge.new_set()
    bridge.wash([one])
    with pytest.raises(ReachError):
        look(bridge, wash_load(1), reach)
    assert bridge.act("open recall", load=wash_load(1), reach=reach, why="x")["verdict"] == "stop"


def test_a_wash_load_is_recalled_too(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    assert [row["state"] for row in look(bridge, wash_load(1), "load")["packs"]] == ["clean"]


def test_a_recall_marks_each_pack_and_closes_when_all_are_accounted_for(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    load = bridge.sterilise(packs)
    assert bridge.act("open recall", load=load, reach="load")["rule"] == "reason_needed"
    opened = bridge.act("open recall", load=load, reach="load", why="biological positive")
    recall = opened["subject"]
    assert recall == f"{load}/1"
    assert [bridge.flags(pack) for pack in packs] == [["recalled"], ["recalled"]]
    assert bridge.act("account", recall=recall, pack=packs[0], found="shelf 2")["verdict"] == "go"
    assert bridge.act("account", recall=recall, pack=packs[0])["facts"] == []
    assert bridge.act("close recall", recall=recall)["rule"] == "recall_open"
    bridge.act("account", recall=recall, pack=packs[1])
    assert bridge.act("close recall", recall=recall)["verdict"] == "go"
    assert bridge.act("account", recall=recall, pack=packs[1])["rule"] == "recall_closed"
    assert bridge.flags(packs[0]) == ["recalled"]


def test_a_pack_outside_a_recall_is_not_accounted_in_it(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    load = bridge.sterilise([bridge.pack(one)])
    recall = bridge.act("open recall", load=load, reach="load", why="x")["subject"]
    other = bridge.new_set("B")
    bridge.wash([other], 2)
    assert bridge.act("account", recall=recall, pack=bridge.pack_of(other))["rule"] == "unknown_code"
    assert bridge.act("account", recall="L-K7-1-0001-J/9", pack=bridge.pack_of(other))["rule"] == "unknown_code"


def test_what_the_office_notes_of_a_pack_does_not_say_that_it_was_seen_there(bridge):
    from service.custody.chain import last_seen

    pack, load = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), pack)
    at = bridge.scan("theatre-1", "TURNED")["at"]
    bridge.act("open recall", load=load, reach="load", why="x")
    bridge.act("account", pack=pack, recall=f"{load}/1", found="owner called")
    with bridge.desk.ledger.reading() as reader:
        record = reader.state.pack(pack)
        assert record.seen_station == "office-1"
        assert last_seen(reader.state, record) == ("theatre-1", at)
    assert "last seen at theatre-1" in bridge.scans("office-1", NURSE, pack)["headline"]


def positive(bridge):
    """Loads 1 to 3 of one machine, the second of them with a positive biological; an implant in it."""
    loads = []
    for number, implant in ((1, False), (2, True), (3, False)):
        one = bridge.new_set(f"Set {number}", implant=implant)
        bridge.wash([one], number)
        loads.append(bridge.sterilise([bridge.pack(one)], number))
    bridge.act("read indicator", load=loads[1], indicator="biological", result="positive", lot="B-1", control="grew")
    return loads


def advice(bridge, load):
    with bridge.desk.ledger.reading() as reader:
        return advised(reader.state, reader.state.load(load))


def test_after_one_positive_what_is_no_implant_need_not_be_recalled_unless_something_is_at_fault(bridge):
    """CDC 2008, table 12 (CHECKS 5, READ)."""
    loads = positive(bridge)
    assert advice(bridge, loads[0]) is None
    found = advice(bridge, loads[1])
    assert (found.reach, found.policy) == ("implants", "fault first")
    assert "nothing in the record" in found.why
    bridge.act("read indicator", load=loads[2], indicator="biological", result="positive", lot="B-2", control="grew")
    found = advice(bridge, loads[1])
    assert (found.reach, found.why) == ("since", f"a later load of this machine, {loads[2]}, is positive too")


def test_a_cycle_that_did_not_pass_is_a_fault_of_its_own(bridge):
    loads = positive(bridge)
    bridge.judge(loads[1], "fail")
    assert advice(bridge, loads[1]).why == "the cycle of this load was judged: fail"
    assert advice(bridge, loads[1]).reach == "since"


def test_a_strict_site_recalls_since_the_last_negative_at_the_first_positive(at_work):
    """Common practice, no source; as for methods other than steam, CDC 2008 recommendation 5 (READ-2)."""
    bridge = at_work(recall_policy="strict")
    assert advice(bridge, positive(bridge)[1]).reach == "since"
