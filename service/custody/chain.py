"""The chain of custody: state folded from facts, where a pack is on the circle, and the gaps in its record."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any, Protocol, cast
from zoneinfo import ZoneInfo

from service.custody.facts import Fact, moment
from service.custody.folds import BIRTHS, fold, named, refold, touched
from service.custody.practice import Practice
from service.custody.records import (
    Case,
    InstrumentSet,
    IssuedLabel,
    Load,
    Machine,
    Pack,
    Patient,
    Person,
    Recall,
    Record,
    Series,
    Site,
)

CIRCLE = ("soiled", "washing", "clean", "packed", "loaded", "waiting", "released", "opened")
FLAGS = ("held", "compromised", "recalled")


class Source(Protocol):
    """Where a State finds what it does not hold yet."""

    def get(self, kind: str, code: str) -> Record | None: ...
    def fact(self, fact_id: str) -> Fact | None: ...
    def history(self, kind: str, code: str) -> list[Fact]: ...
    def loads_of(self, machine: str) -> list[Load]: ...
    def packs_of(self, set_code: str) -> list[Pack]: ...
    def everything(self, kind: str) -> list[Record]: ...
    def load_of_log(self, sha256: str) -> str | None: ...
    def highest(self, series: str) -> int:
        """The highest number of a series that anything here bears, however it came by it; 0 without any."""
        ...


_OFFICE = "office-"
_ABOUT = frozenset({"amended", "refused", "label_printed", "held"})
"""Facts that name a pack nobody needs to have in hand."""


class State:
    """What the facts so far amount to. A branch sees its parent and keeps its own changes until `merge`."""

    def __init__(self, source: "Source | State", practice: Practice) -> None:
        self.source = source
        self.practice = practice
        self.changed: dict[tuple[str, str], Record | None] = {}
        self.added: list[Fact] = []

    def branch(self) -> "State":
        return State(self, self.practice)

    def merge(self) -> None:
        """Hand this branch's changes to its parent."""
        parent = cast("State", self.source)
        parent.changed.update(self.changed)
        parent.added.extend(self.added)

    def get(self, kind: str, code: str) -> Record | None:
        key = (kind, code)
        return self.changed[key] if key in self.changed else self.source.get(kind, code)

    def fact(self, fact_id: str) -> Fact | None:
        mine = next((f for f in reversed(self.added) if f.id == fact_id), None)
        return mine or self.source.fact(fact_id)

    def remember(self, fact: Fact) -> None:
        """Keep `fact` for looks back at it."""
        self.added.append(fact)

    def evolve(self, fact: Fact) -> "State":
        return evolve(self, fact)

    def history(self, kind: str, code: str) -> list[Fact]:
        """Every fact that names this record, in the order of writing."""
        return [*self.source.history(kind, code), *(f for f in self.added if (kind, code) in named(f))]

    def loads_of(self, machine: str) -> list[Load]:
        found = {load.code: load for load in self.source.loads_of(machine)}
        for (kind, code), record in self.changed.items():
            if kind == "load" and code.startswith(machine):
                found.pop(code, None)
                if record is not None:
                    found[code] = cast("Load", record)
        return list(found.values())

    def load_of_log(self, sha256: str) -> str | None:
        """The load that was judged by the log with this hash."""
        mine = (f.load for f in self.added if f.kind == "cycle_judged" and f.data["log_sha256"] == sha256)
        return next(mine, None) or self.source.load_of_log(sha256)

    def highest(self, series: str) -> int:
        """The highest number of a series that anything here bears, however it came by it; 0 without any."""
        mine = (number_in(series, code) for fact in self.added for code in borne(fact))
        return max(self.source.highest(series), *mine, 0)

    def packs_of(self, set_code: str) -> list[Pack]:
        found = {pack.code: pack for pack in self.source.packs_of(set_code)}
        for (kind, code), record in self.changed.items():
            if kind == "pack" and (record is None or cast("Pack", record).set == set_code):
                found.pop(code, None)
                if record is not None:
                    found[code] = cast("Pack", record)
        return sorted(found.values(), key=lambda pack: pack.turn)

    def everything(self, kind: str) -> list[Record]:
        found = {record.code: record for record in self.source.everything(kind)}
        for (changed, code), record in self.changed.items():
            if changed == kind:
                found.pop(code, None)
                if record is not None:
                    found[code] = record
        return sorted(found.values(), key=lambda record: record.code)

    def sets(self) -> list[InstrumentSet]:
        return cast("list[InstrumentSet]", self.everything("set"))

    def machines(self) -> list[Machine]:
        return cast("list[Machine]", self.everything("machine"))

    def people(self) -> list[Person]:
        return cast("list[Person]", self.everything("person"))

    def pack(self, code: str | None) -> Pack | None:
        return cast("Pack | None", self.get("pack", code)) if code else None

    def load(self, code: str | None) -> Load | None:
        return cast("Load | None", self.get("load", code)) if code else None

    def set(self, code: str | None) -> InstrumentSet | None:
        return cast("InstrumentSet | None", self.get("set", code)) if code else None

    def machine(self, code: str) -> Machine | None:
        return cast("Machine | None", self.get("machine", code))

    def person(self, code: str | None) -> Person | None:
        return cast("Person | None", self.get("person", code)) if code else None

    def patient(self, code: str) -> Patient | None:
        return cast("Patient | None", self.get("patient", code))

    def case(self, code: str | None) -> Case | None:
        return cast("Case | None", self.get("case", code)) if code else None

    def recall(self, code: str) -> Recall | None:
        return cast("Recall | None", self.get("recall", code))

    def site(self, code: str) -> Site | None:
        return cast("Site | None", self.get("site", code))

    def series(self, code: str) -> Series | None:
        return cast("Series | None", self.get("series", code))

    def label(self, code: str) -> IssuedLabel | None:
        return cast("IssuedLabel | None", self.get("label", code))

    def where(self, pack: Pack) -> str:
        return state_of(pack, self.load(pack.wash), self.load(pack.load))

    def flags(self, pack: Pack) -> list[str]:
        return flags_of(pack, self.load(pack.wash), self.load(pack.load))

    def known_as(self, patient: str) -> str:
        """The code this patient goes by now: a provisional code leads on to the one it was identified as."""
        seen = {patient}
        while (record := self.patient(patient)) and record.now and record.now not in seen:
            patient = record.now
            seen.add(patient)
        return patient


def evolve(state: State, fact: Fact) -> State:
    """`state` after `fact`. A fact undone by an amendment counts for nothing: its records are folded anew."""
    state.remember(fact)
    if fact.kind == "refused":
        return state
    if fact.kind == "amended":
        if fact.data["undo"]:
            target = state.fact(fact.data["of"])
            for kind, code in touched(target) if target else ():
                _take_back(state, kind, code)
        return state
    for kind, code in touched(fact):
        before = None if (kind, fact.kind) in BIRTHS else state.get(kind, code)
        state.changed[(kind, code)] = fold(kind, before, fact)
    return state


def _take_back(state: State, kind: str, code: str) -> None:
    if kind in {"site", "machine", "person", "patient", "recall", "series", "label"}:
        return
    before = state.get(kind, code)
    after = refold(kind, state.history(kind, code))
    if isinstance(before, InstrumentSet) and isinstance(after, InstrumentSet):
        after = replace(after, turn=before.turn)
    state.changed[(kind, code)] = after


def replay(facts: Iterable[Fact], state: State) -> State:
    for fact in facts:
        evolve(state, fact)
    return state


class Nothing:
    """An empty source: state then comes from the facts evolved into it alone."""

    def get(self, _kind: str, _code: str) -> Record | None:
        return None

    def fact(self, _fact_id: str) -> Fact | None:
        return None

    def history(self, _kind: str, _code: str) -> list[Fact]:
        return []

    def loads_of(self, _machine: str) -> list[Load]:
        return []

    def packs_of(self, _set_code: str) -> list[Pack]:
        return []

    def everything(self, _kind: str) -> list[Record]:
        return []

    def load_of_log(self, _sha256: str) -> str | None:
        return None

    def highest(self, _series: str) -> int:
        return 0


def number_in(series: str, code: str) -> int:
    """The number that `code` bears, when it is one of `series`; 0 otherwise."""
    number = code[len(series) + 1 :].split("-", maxsplit=1)[0]
    return int(number) if code.startswith(f"{series}-") and number.isdecimal() else 0


def borne(fact: Fact) -> list[str]:
    """The codes in `fact` that are of a series. One that was taken back was on a label all the same."""
    told = [fact.load, fact.patient, *(fact.data.get(key) for key in ("shelf", "badge", "was"))]
    return [code for code in told if code]


def state_of(pack: Pack, wash: Load | None, steam: Load | None) -> str:
    """The pack's place on the circle, from its own record and its loads'."""
    if pack.opened_at:
        return "opened"
    if pack.unloaded_at:
        return "released" if steam and steam.released_at else "waiting"
    if pack.load:
        return "loaded"
    if pack.packed_at:
        return "packed"
    if pack.rewash:
        return "soiled"
    if wash and wash.result != "fail":
        return "clean" if wash.result == "pass" else "washing"
    return "clean" if pack.enter == "clean" and wash is None else "soiled"


def flags_of(pack: Pack, wash: Load | None, steam: Load | None) -> list[str]:
    """The flags on a pack; none of them changes its state."""
    flags = []
    if (steam and steam.held) or (wash and wash.held):
        flags.append("held")
    if pack.compromised or (steam and steam.rejected) or (wash and wash.rejected):
        flags.append("compromised")
    if pack.recalls:
        flags.append("recalled")
    return flags


def last_seen(state: State, pack: Pack) -> tuple[str, str]:
    """The station where somebody had this pack in hand last, and when. The office only speaks of packs."""
    if not pack.seen_station.startswith(_OFFICE):
        return pack.seen_station, pack.seen_at
    facts = state.history("pack", pack.code)
    undone = {fact.data["of"] for fact in facts if fact.kind == "amended" and fact.data["undo"]}
    for fact in reversed(facts):
        in_hand = fact.kind not in _ABOUT and not fact.station.startswith(_OFFICE)
        if fact.pack == pack.code and in_hand and fact.id not in undone:
            return fact.station, fact.at
    return pack.seen_station, pack.seen_at


def use_by(pack: Pack, steam: Load | None, zone: ZoneInfo) -> date | None:
    """The last day this pack may be used, in the site's local time; None: no date, look at the wrap."""
    if pack.shelf_days is None or steam is None or steam.ended_at is None:
        return None
    return moment(steam.ended_at).astimezone(zone).date() + timedelta(days=pack.shelf_days)


def expired(pack: Pack, steam: Load | None, at: str, zone: ZoneInfo) -> bool:
    """Whether `at` lies after the last day of use. Never stored: it depends on the day it is asked."""
    last = use_by(pack, steam, zone)
    return last is not None and moment(at).astimezone(zone).date() > last


STEPS = (
    "received",
    "wash_loaded",
    "wash_ended",
    "packed",
    "loaded",
    "cycle_started",
    "cycle_ended",
    "cycle_judged",
    "unloaded",
    "released",
)
STEP_WORDS = {
    "received": "not received at the wash",
    "wash_loaded": "not scanned into a wash load",
    "wash_ended": "wash end not scanned, or not passed",
    "packed": "packing not recorded",
    "loaded": "not scanned into a steam load",
    "cycle_started": "cycle start not recorded",
    "cycle_ended": "cycle end not recorded",
    "cycle_judged": "no passing judgement of the cycle",
    "unloaded": "not scanned at unloading",
    "released": "nobody released the load",
}
_PASSING = {"wash_ended": ("result", "pass"), "cycle_judged": ("verdict", "pass")}


def step_of(fact: Fact) -> str | None:
    """The step of the list above that `fact` is, or `opened`; None for any other, and for one that did not pass."""
    if fact.kind == "opened":
        return "opened"
    if fact.kind not in STEPS:
        return None
    key, wanted = _PASSING.get(fact.kind, ("", ""))
    return fact.kind if not key or fact.data[key] == wanted else None


def gaps(facts: list[Fact]) -> list[dict[str, str]]:
    """The steps a pack got further without: `facts` are its custody in the order of writing.

    The judgement may come before or after unloading. Printing and storing are never gaps.
    """
    undone = {f.data["of"] for f in facts if f.kind == "amended" and f.data["undo"]}
    reached: set[str] = set()
    missing: dict[str, str] = {}
    for fact in facts:
        step = step_of(fact)
        if step is None or fact.id in undone:
            continue
        for earlier in STEPS if step == "opened" else STEPS[: STEPS.index(step)]:
            if earlier not in reached and not (step == "unloaded" and earlier == "cycle_judged"):
                missing.setdefault(earlier, step)
        reached.add(step)
    return [{"step": s, "before": missing[s], "why": STEP_WORDS[s]} for s in STEPS if s in missing]


def custody_facts(state: State, pack: Pack) -> list[Fact]:
    """The facts of one pack and of the loads it went through, in the order of writing.

    A pack that entered clean brings the beginning and the wash of the turn it came from.
    """
    found: dict[str, Fact] = {}
    turn: Pack | None = pack
    while turn is not None:
        for fact in state.history("pack", turn.code):
            if turn is pack or fact.kind in {"received", "wash_loaded"}:
                found[fact.id] = fact
        for load in (turn.wash, turn.load if turn is pack else None):
            if load:
                found |= {f.id: f for f in state.history("load", load) if f.pack is None}
        turn = state.pack(turn.came_from) if turn.came_from and turn.wash is None else None
    return sorted(found.values(), key=lambda fact: fact.seq)


def custody(state: State, pack: Pack) -> dict[str, Any]:
    """`foldmark custody`: what the record holds of a pack, and where it has a gap."""
    facts = custody_facts(state, pack)
    return {
        "pack": pack.code,
        "set": pack.set,
        "state": state.where(pack),
        "flags": state.flags(pack),
        "patients": [state.known_as(pack.patient)] if pack.patient else [],
        "facts": [fact.as_dict() for fact in facts],
        "gaps": gaps(facts),
    }
