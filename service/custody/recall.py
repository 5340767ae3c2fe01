"""Recall: which packs, and which patients, a bad load touches.

A turned strip or a passing verdict never takes a pack off the list.
"""

from dataclasses import dataclass
from typing import Any

from service.custody.chain import State, flags_of, state_of
from service.custody.records import Load, Pack

REACHES = {
    "load": "the packs that went into this load and were not taken out again",
    "implants": "those packs of this load that were packed with an implant",
    "since": (
        "the packs of every load of this machine after its last one with a negative biological indicator, this load, "
        "and the loads after it up to the next negative"
    ),
    "onward": ("the packs of this load, and every later turn of their sets: for faults that later cycles may not cure"),
}


POLICIES = {
    "fault first": (
        "after one positive, what is no implant need not be recalled unless the machine or the procedure is at fault: "
        "CDC 2008, table 12"
    ),
    "strict": "everything since the last negative is recalled at the first positive: common practice, no source",
}
"""What a site does at a positive biological. Bodies disagree: the site chooses, and the page names its choice."""


class ReachError(ValueError):
    """A reach that does not fit the load."""


@dataclass(frozen=True, slots=True)
class Reached:
    """What a recall reaches: loads in the order of their cycles, packs by code with the load that brings each in."""

    load: str
    reach: str
    loads: tuple[str, ...]
    packs: tuple[Pack, ...]
    via: dict[str, str | None]


def reach_of(state: State, load: Load, reach: str) -> Reached:
    """What `load` reaches. Raises ReachError for an unknown reach, or `since` and `implants` of a wash load."""
    if reach not in REACHES:
        raise ReachError(f"{reach!r} is not a reach: choose among {', '.join(REACHES)}")
    if reach in {"since", "implants"} and not load.steam:
        raise ReachError(f"reach {reach} is for steam loads, and {load.code} is a wash load: use load or onward")
    loads = _since(state, load) if reach == "since" else [load]
    via: dict[str, str | None] = {}
    packs: dict[str, Pack] = {}
    for one in loads:
        for code in one.packs:
            pack = state.pack(code)
            if pack and (reach != "implants" or pack.implant):
                packs.setdefault(code, pack)
                via.setdefault(code, one.code)
    if reach == "onward":
        for first in list(packs.values()):
            for later in state.packs_of(first.set):
                if later.turn > first.turn and later.code not in packs:
                    packs[later.code] = later
                    via[later.code] = later.load
    ordered = tuple(packs[code] for code in sorted(packs))
    return Reached(load.code, reach, tuple(one.code for one in loads), ordered, via)


@dataclass(frozen=True, slots=True)
class Advice:
    """How far a recall should reach by the site's policy, the policy's name and words, and what it rests on here."""

    reach: str
    policy: str
    words: str
    why: str


def advised(state: State, load: Load) -> Advice | None:
    """What the site's policy says of this load. None where its biological is not positive."""
    if not load.steam or load.biological != "positive":
        return None
    policy = state.practice.recall_policy
    words = POLICIES[policy]
    if policy == "strict":
        return Advice("since", policy, words, "the biological of this load is positive")
    fault = _fault(state, load)
    why = fault or "nothing in the record puts the machine or the procedure at fault"
    return Advice("since" if fault else "implants", policy, words, why)


def _fault(state: State, load: Load) -> str | None:
    """What puts the machine or the procedure at fault: this cycle itself, or what came after on this machine."""
    if load.verdict not in {None, "pass"}:
        return f"the cycle of this load was judged: {load.verdict}"
    if load.display not in {None, "complete"}:
        return f"the display of this load said {load.display}"
    for one in sorted(state.loads_of(load.machine), key=lambda x: x.started_seq):
        if one.started_seq > load.started_seq and one.biological == "positive":
            return f"a later load of this machine, {one.code}, is positive too"
        if one.started_seq > load.started_seq and one.air_removal == "fail":
            return f"a later test of this machine, {one.code}, failed"
    return None


def _since(state: State, load: Load) -> list[Load]:
    """CDC 2008 guideline, table 12 (READ): since the last negative; ours ends before the next negative."""
    ordered = sorted((x for x in state.loads_of(load.machine) if x.started_seq), key=lambda x: x.started_seq)
    if load.code not in {x.code for x in ordered}:
        return [load]
    here = next(i for i, x in enumerate(ordered) if x.code == load.code)
    first = here
    while first > 0 and ordered[first - 1].biological != "negative":
        first -= 1
    last = here + 1
    while last < len(ordered) and ordered[last].biological != "negative":
        last += 1
    return ordered[first:last]


def report(state: State, load: Load, reach: str) -> dict[str, Any]:
    """`foldmark recall LOAD --json`: the loads, packs in code order, patients and counts."""
    reached = reach_of(state, load, reach)
    rows = [_row(state, pack, reached.via[pack.code]) for pack in reached.packs]
    patients = sorted({patient for row in rows for patient in row["patients"]})
    states: dict[str, int] = {}
    for row in rows:
        states[row["state"]] = states.get(row["state"], 0) + 1
    counts = {"loads": len(reached.loads), "packs": len(rows), "patients": len(patients)} | states
    return {
        "load": load.code,
        "reach": reach,
        "why": REACHES[reach],
        "loads": list(reached.loads),
        "packs": rows,
        "patients": patients,
        "counts": counts,
    }


def _row(state: State, pack: Pack, via: str | None) -> dict[str, Any]:
    wash, steam = state.load(pack.wash), state.load(pack.load)
    return {
        "pack": pack.code,
        "set": pack.set,
        "state": state_of(pack, wash, steam),
        "flags": flags_of(pack, wash, steam),
        "load": via,
        "patients": [state.known_as(pack.patient)] if pack.patient else [],
        "opened_at": pack.opened_at,
        "shelf": pack.shelf,
    }
