"""Laws that hold whatever is scanned, in whatever order: random scans through the real conversation."""

import os
from datetime import UTC, datetime, timedelta

from hypothesis import event, settings, target
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from label_templates import codes
from service.custody.chain import STEPS, Nothing, State, custody_facts, gaps, replay, step_of
from service.custody.facts import stamp
from service.custody.recall import report
from service.custody.rules import Act, Refusal, decide
from service.ledger.ids import uuid7
from service.ledger.seal import FIRST_PREV, seal
from service.stations.conversation import hear
from service.stations.scan import Scan
from tests.practice import (
    MANAGER,
    NURSE,
    QUARANTINE,
    SHEET,
    SHELF,
    SURGEON,
    TECHNICIAN,
    chosen,
    patient,
    steam_load,
    wash_load,
)

BAD_NEWS = {"compromised", "held", "rejected", "overridden"}
CARDS = [
    "DONE",
    "END",
    "OUT",
    "WET",
    "TORN",
    "DROPPED",
    "TURNED",
    "PALE",
    "UNSURE",
    "RETURN",
    "UNUSED",
    "PASS",
    "FAIL",
    "UNDO",
    "YES",
    "NO",
    "1",
    "2",
    "3",
    "9",
]
STATIONS = ["wash-1", "packing-1", "loading-1", "unloading-1", "store-1", "theatre-1", "theatre-2", "office-1"]
TYPED = ["=16", "=24-117", "=because", "=10", "=2"]


class Memory:
    """A ledger in memory: enough of the store's contract for one scan at a time."""

    def __init__(self, practice):
        self.state = State(Nothing(), practice)
        self.hands_, self.facts, self.prev = {}, [], FIRST_PREV
        self.noted = []

    def hand(self, station):
        return self.hands_.get(station)

    def hands(self):
        return dict(self.hands_)

    def keep_hand(self, station, body):
        self.hands_[station] = body

    def note(self, facts):
        made = []
        for fact in facts:
            fact_id = uuid7(len(self.facts), os.urandom(10))
            sealed = seal(fact, seq=len(self.facts) + 1, fact_id=fact_id, noted_at=fact.at, prev=self.prev)
            self.prev = sealed.hash
            self.facts.append(sealed)
            self.state.evolve(sealed)
            made.append(sealed)
        return made


class AtRandom(RuleBasedStateMachine):
    """Three sets, three loads of each kind, two patients; people do the next right thing, or anything at all."""

    def __init__(self):
        super().__init__()
        self.ledger = Memory(chosen(quarantine_shelves=(QUARANTINE,)))
        self.at = datetime(2026, 3, 4, 8, tzinfo=UTC)
        self.checked = 0
        self.loads = 0

    def act(self, does, by=MANAGER, data=None, **keys):
        outcome = decide(self.ledger.state, Act(does, stamp(self.at), "K7", "office-1", by, data=data or {}, **keys))
        if not isinstance(outcome, Refusal):
            self.ledger.note(outcome)

    @initialize()
    def furnish(self):
        self.act("open site", by=None)
        for badge, roles, may in ((MANAGER, ["manager"], True), (TECHNICIAN, ["technician"], False), (NURSE, ["nurse"], True),
                                  (SURGEON, ["surgeon"], False)):  # fmt: skip
            self.act(
                "enrol staff",
                by=None if badge == MANAGER else MANAGER,
                data={"badge": badge, "roles": roles, "may_release": may},
            )
        self.act("register machine", data={"machine": "W-K7-1", "kind": "washer", "removal": None, "name": "W"})
        self.act("register machine", data={"machine": "L-K7-1", "kind": "steriliser", "removal": "gravity", "name": "L",
                                           "programmes": ["134/3"]})  # fmt: skip
        self.sets = []
        for number, implant in ((1, False), (2, False), (3, True)):
            told = {"name": f"Set {number}", "kind": "set", "implant": implant, "sheet": SHEET, "wrap": "double"}
            self.act("register set", data=told)
            self.sets.append(codes.set_code("K7", number).text)
        for station in STATIONS:
            self.scan(station, NURSE)

    def scan(self, station, text):
        self.at += timedelta(seconds=10)
        code = text if "-" in text or text.startswith("=") else codes.card_code(text).text
        self.ledger.noted = []
        answer = hear(self.ledger, self.ledger, Scan("", station, code, stamp(self.at)))
        assert answer["verdict"] in {"go", "ask", "stop"}
        assert answer["headline"]
        return answer

    def scans(self, station, *texts):
        self.scan(station, NURSE)
        for text in texts:
            self.scan(station, text)

    def packs(self):
        return [code for (kind, code), record in self.ledger.state.changed.items() if kind == "pack" and record]

    @rule(which=st.sets(st.integers(0, 2), min_size=1, max_size=2), left_out=st.sampled_from([*"wpluejr", "", "", "", ""]),
          who=st.integers(1, 2), said=st.sampled_from(["TURNED", "TURNED", "PALE", "UNUSED"]))  # fmt: skip
    def go_round(self, which, left_out, who, said):
        """Once round for some sets with at most one step left out, then to the table."""
        self.loads += 1
        wash, steam = wash_load(10 + self.loads), steam_load(10 + self.loads)
        sets = [self.sets[i] for i in sorted(which)]
        self.scans("wash-1", wash, *(x for one in sets for x in (one, "YES")), *([] if left_out == "w" else ["PASS"]))
        for one in sets:
            self.scans("packing-1", one, "YES", "=16", "=24-117", *([] if left_out == "p" else ["DONE"]))
            self.scan("packing-1", self.ledger.state.set(one).pack)
        packs = [self.ledger.state.set(one).pack for one in sets]
        biological = {"indicator": "biological", "lot": "B", "control_lot": "B", "due": "2026-03-06"}
        self.act("place indicator", load=steam, data=biological)
        self.scans("loading-1", steam, *([] if left_out == "l" else packs), "DONE")
        self.scans(
            "unloading-1", steam, *([] if left_out == "e" else ["END", "PASS"]), *([] if left_out == "u" else packs)
        )
        told = {
            "verdict": "fail" if left_out == "j" else "pass",
            "basis": "log",
            "hold_s": 1,
            "f0_hundredths": 1,
            "log_sha256": "0",
        }
        self.act("judge cycle", load=steam, data=told)
        self.act(
            "read indicator",
            load=steam,
            data={"indicator": "biological", "result": "negative", "lot": "B", "control": "grew"},
        )
        if left_out != "r":
            self.act("release", by=NURSE, load=steam)
        for pack in packs:
            self.scans("theatre-1", patient(who), pack, said)

    # The next right thing, so that packs get far enough round for the laws to bite

    @rule(which=st.sets(st.integers(0, 2), min_size=1), number=st.integers(1, 3), skip_end=st.booleans())
    def wash(self, which, number, skip_end):
        self.scans("wash-1", wash_load(number), *(self.sets[i] for i in which), *([] if skip_end else ["PASS"]))

    @rule(which=st.integers(0, 2), skip_label=st.booleans())
    def pack(self, which, skip_label):
        self.scans("packing-1", self.sets[which], "YES", "=16", "=24-117", "DONE")
        owner = self.ledger.state.set(self.sets[which])
        if owner.pack and not skip_label:
            self.scan("packing-1", owner.pack)

    @rule(number=st.integers(1, 4), data=st.data(), lost=st.booleans(), display=st.sampled_from(["PASS", "PASS", "FAIL"]),
          verdict=st.sampled_from(["pass", "pass", "pass", "fail", None]))  # fmt: skip
    def sterilise(self, number, data, lost, display, verdict):
        load, packs = steam_load(number), self.packs()
        chosen_packs = data.draw(st.lists(st.sampled_from(packs), max_size=3)) if packs else []
        self.scans("loading-1", load, *chosen_packs, "DONE")
        self.scans("unloading-1", load, "END", display, *(chosen_packs[1:] if lost else chosen_packs), "DONE")
        if verdict:
            told = {"verdict": verdict, "basis": "log", "hold_s": 200, "f0_hundredths": 1, "log_sha256": "0"}
            self.act("judge cycle", load=load, data=told)
        self.act("release", by=NURSE, load=load, data={"why": "looked at"})

    @rule(number=st.integers(1, 4), does=st.sampled_from(["release", "reject", "hold", "open recall", "open recall"]))
    def office(self, number, does):
        reach = {"reach": "since", "why": "a reason"} if does == "open recall" else {"why": "a reason"}
        self.act(does, by=NURSE, load=steam_load(number), data=reach)

    @rule(number=st.integers(1, 4), result=st.sampled_from(["negative", "positive", "void"]))
    def biological(self, number, result):
        load = steam_load(number)
        self.act(
            "place indicator",
            load=load,
            data={"indicator": "biological", "lot": "B", "control_lot": "B", "due": "2026-03-06"},
        )
        self.act(
            "read indicator",
            load=load,
            data={"indicator": "biological", "lot": "B", "result": result, "control": "grew"},
        )

    @rule(
        theatre=st.sampled_from(["theatre-1", "theatre-2"]),
        who=st.integers(1, 2),
        data=st.data(),
        then=st.sampled_from(CARDS),
    )
    def operate(self, theatre, who, data, then):
        packs = self.packs()
        if packs:
            self.scans(theatre, patient(who), data.draw(st.sampled_from(packs)), "TURNED" if then == "9" else then)

    @rule(theatre=st.sampled_from(["theatre-1", "theatre-2"]))
    def take_it_on(self, theatre):
        self.scans(theatre, SURGEON, "=no other pack", "TURNED")

    @rule(theatre=st.sampled_from(["theatre-1", "theatre-2"]))
    def close(self, theatre):
        self.scans(theatre, "DONE", "1")

    @rule(shelf=st.sampled_from([SHELF, QUARANTINE]), data=st.data())
    def store(self, shelf, data):
        packs = self.packs()
        if packs:
            self.scans("store-1", shelf, data.draw(st.sampled_from(packs)), "YES")

    # Anything at all

    @rule(station=st.sampled_from(STATIONS), word=st.sampled_from([*CARDS, *TYPED]))
    def any_card(self, station, word):
        self.scan(station, word)

    @rule(station=st.sampled_from(STATIONS), data=st.data())
    def any_code(self, station, data):
        known = [*self.sets, *self.packs(), steam_load(1), wash_load(1), patient(1), SHELF, SURGEON, TECHNICIAN, "nonsense",
                 codes.pack_code(self.sets[0], 99).text, codes.set_code("Q9", 1).text]  # fmt: skip
        text = data.draw(st.sampled_from(known))
        self.at += timedelta(seconds=10)
        self.ledger.noted = []
        hear(self.ledger, self.ledger, Scan("", station, text, stamp(self.at)))

    @rule(minutes=st.sampled_from([1, 5, 18, 40]))
    def time_passes(self, minutes):
        self.at += timedelta(minutes=minutes)

    # The laws

    @invariant()
    def nothing_is_opened_without_every_step_release_and_no_flag(self):
        facts = self.ledger.facts
        opened = [f for f in facts[self.checked :] if f.kind == "opened"]
        self.checked = len(facts)
        for fact in opened:
            before = replay(facts[: fact.seq - 1], State(Nothing(), self.ledger.state.practice))
            pack = before.pack(fact.pack)
            if pack.overridden:
                event("opened by override")
                assert not set(pack.compromised) - {"tape pale"}
                assert "held" not in before.flags(pack)
                continue
            event("opened, every step there")
            assert before.where(pack) == "released"
            assert before.flags(pack) == []
            chain = [f for f in custody_facts(before, pack) if f.seq < fact.seq]
            assert {step_of(f) for f in chain} >= set(STEPS)
            assert gaps([*chain, fact]) == []

    @invariant()
    def a_flag_never_loses_a_patient(self):
        state = self.ledger.state
        undone = {f.data["of"] for f in self.ledger.facts if f.kind == "amended" and f.data["undo"]}
        for fact in self.ledger.facts:
            if fact.kind != "opened" or fact.id in undone or not fact.patient:
                continue
            pack = state.pack(fact.pack)
            for load in filter(None, (pack.load, pack.wash)):
                for reach in ("load", "since", "onward") if load[0] == "L" else ("load", "onward"):
                    assert fact.patient in report(state, state.load(load), reach)["patients"]

    @invariant()
    def undo_never_removes_bad_news(self):
        undone = {f.data["of"] for f in self.ledger.facts if f.kind == "amended" and f.data["undo"]}
        for fact in self.ledger.facts:
            if fact.id in undone:
                assert fact.kind not in BAD_NEWS
                assert fact.data.get("result") not in {"pale", "fail", "positive"}
                assert fact.data.get("display") in {None, "complete"}

    @invariant()
    def replay_arrives_at_the_same_records(self):
        again = replay(self.ledger.facts, State(Nothing(), self.ledger.state.practice))
        live = {key: record for key, record in self.ledger.state.changed.items() if record}
        assert {key: record for key, record in again.changed.items() if record} == live

    def teardown(self):
        target(sum(f.kind == "opened" for f in self.ledger.facts), label="openings")


AtRandom.TestCase.settings = settings(max_examples=120, stateful_step_count=25, deadline=None)
TestLaws = AtRandom.TestCase
