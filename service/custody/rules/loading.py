"""Loading and unloading: what goes into the steriliser, what comes out, and what it looked like."""

from label_templates import codes
from service.custody.chain import State
from service.custody.facts import Fact, moment
from service.custody.practice import ProgrammeLimits
from service.custody.records import Load, Machine, Pack
from service.custody.rules.act import Act
from service.custody.rules.anywhere import (
    EmptyLoad,
    LoadNotOpen,
    LoadUsed,
    ask,
    known_pack,
    name_of,
    working_machine,
)
from service.custody.rules.packing import NotPacked
from service.custody.rules.refusal import Question, Refusal


class NotLabelled(Refusal):
    """The label on this pack has not been scanned.

    {name} was packed, but nobody has scanned the label that is stuck on it.

    Scan it at packing, then load it.
    """


class Flagged(Refusal):
    """This pack is {flags}.

    {name}, turn {turn}: {why}.

    {todo}
    """


class AlreadyLoaded(Refusal):
    """This pack is in another load.

    {name} was scanned into steam load {load}.

    Show OUT there first, or check which pack this is.
    """


class AlreadyThrough(Refusal):
    """This pack has been through a cycle.

    {name}, turn {turn}, is {state}.

    Open it, or pack the set again with a new label.
    """


class NotInLoad(Refusal):
    """This pack is not in this load.

    {name} was not scanned into load {load} at loading.

    Keep it apart: it did not go through with this load. Ask the office.
    """


class CycleRunning(Refusal):
    """This load has started.

    The cycle of load {load} began at {began}; nothing goes in or out by the record.

    Wait for its end, or take the next load card.
    """


class CycleNotStarted(Refusal):
    """This load was never started.

    Load {load} has no cycle by the record.

    Finish it at loading with DONE.
    """


class CycleNotEnded(Refusal):
    """The cycle of this load has not ended.

    Load {load} has no end in the record.

    Show END and say what the display showed.
    """


class CycleEnded(Refusal):
    """The end of this load is recorded already.

    Its display said {display}.

    Scan the packs.
    """


class TestDue(Refusal):
    """Today's air removal test is missing.

    {machine} takes air out actively, and its test has not passed today. Without it nobody knows that steam gets
    inside a wrap.

    Run the air removal test first, alone in a warmed chamber.
    """


class TestLoadNotEmpty(Refusal):
    """A test runs without packs.

    Load {load} holds {count} packs; {test} is done in a chamber without goods.

    Take the packs out first.
    """


class ProgrammeUnknown(Refusal):
    """This machine does not run that programme.

    {programme} is not one of the programmes of {machine}: {known}.

    Choose one of those.
    """


class NothingToTest(Refusal):
    """This machine has no pump to test.

    {machine} pushes air out with steam; {test} is for machines that pump it out.

    Run a proving load with a biological instead.
    """


class CannotPump(Refusal):
    """This machine cannot run that programme.

    {programme} needs the air pumped out, and {machine} only pushes it out with steam.

    Choose a programme for gravity machines.
    """


class ProgrammeTooHot(Refusal):
    """This programme is too hot for {name}.

    It bears {bears} °C; programme {programme} runs at {set_c} °C.

    Take it out, or choose a cooler programme.
    """


class NotForThese(Refusal):
    """This programme is not for {what}.

    {name} is among them, and {programme} may not hold them.

    Take it out, or choose another programme.
    """


class ImmediateUse(Question):
    """Why at once?

    {programme} is for one patient, now: nothing of it is stored, and it is listed for a second look.

    Type the reason.
    """

    needs_reason = True


class ImmediateImplant(Refusal):
    """An implant never goes for immediate use.

    {name} holds an implant: it waits for its biological indicator.

    Choose a wrapped programme.
    """


STERILISERS = ("steriliser",)
PUMPED = ("air removal", "leak")
"""Tests of the pump and of the chamber's tightness: for machines that pump air out."""
TESTS = {"air removal": "an air removal test", "leak": "a leak test", "proving": "a proving load"}


def open_steam_load(state: State, act: Act) -> list[Fact]:
    """The load card at loading: may packs still go into it?"""
    code = str(act.load)
    working_machine(state, code, STERILISERS, proving=True)
    _not_started(state.load(code), code)
    return []


def _not_started(load: Load | None, code: str) -> None:
    if load and load.rejected:
        raise LoadUsed(load=code, what="was rejected")
    if load and load.ended_at:
        raise LoadUsed(load=code, what="has been through its cycle")
    if load and load.started_at:
        raise CycleRunning(load=code, began=load.started_at[11:16] + " UTC")


def load_pack(state: State, act: Act) -> list[Fact]:
    """A pack goes into the steam load."""
    open_steam_load(state, act)
    working_machine(state, str(act.load), STERILISERS)
    pack = known_pack(state, act.pack)
    name, where = name_of(state, pack), state.where(pack)
    if pack.load == act.load and where == "loaded":
        return []
    if where in {"soiled", "washing", "clean"}:
        raise NotPacked(pack=f"{name}, {pack.code},", state=where)
    if where == "loaded":
        raise AlreadyLoaded(name=name, load=pack.load)
    if where != "packed":
        raise AlreadyThrough(name=name, turn=pack.turn, state=where)
    if flags := state.flags(pack):
        why = ", ".join(pack.compromised) or "see its page"
        todo = "Open it and pack the set again: fresh wrap, fresh strip, new label."
        raise Flagged(flags=" and ".join(flags), name=name, turn=pack.turn, why=why, todo=todo)
    if pack.labelled_at is None:
        raise NotLabelled(name=name)
    return [act.fact("loaded", set=pack.set)]


def take_out(state: State, act: Act) -> list[Fact]:
    """OUT: a pack leaves the load before the cycle."""
    open_steam_load(state, act)
    pack = known_pack(state, act.pack)
    if pack.load != act.load:
        raise NotInLoad(name=name_of(state, pack), load=act.load)
    return [act.fact("taken_out", set=pack.set)]


def start_cycle(state: State, act: Act) -> list[Fact]:
    """DONE at loading. `act.data`: `programme`, `load_kind`."""
    open_steam_load(state, act)
    load = state.load(act.load)
    kind = str(act.data["load_kind"])
    machine = working_machine(state, str(act.load), STERILISERS, proving=kind != "goods")
    programme = _programme(state, machine, str(act.data["programme"]))
    packs = [pack for code in (load.packs if load else ()) if (pack := state.pack(code))]
    data: dict[str, str | None] = {"programme": programme.name, "load_kind": kind}
    if kind != "goods":
        if packs:
            raise TestLoadNotEmpty(load=act.load, count=len(packs), test=TESTS[kind])
        if kind in PUMPED and machine.removal == "gravity":
            raise NothingToTest(machine=machine.name, test=TESTS[kind])
        return [act.fact("cycle_started", data, set=None, pack=None)]
    if not packs:
        raise EmptyLoad(load=act.load)
    if programme.removal == "active" and machine.removal == "gravity":
        raise CannotPump(programme=programme.name, machine=machine.name)
    _air_removal_tested(state, machine, act.at)
    for pack in packs:
        may_bear(state, pack, programme)
    if programme.immediate:
        ask(act, ImmediateUse(programme=programme.name))
        data["why"] = act.why
    return [act.fact("cycle_started", data, set=None, pack=None)]


def _programme(state: State, machine: Machine, name: str) -> ProgrammeLimits:
    found = state.practice.programmes.get(name)
    if found is None or (machine.programmes and name not in machine.programmes):
        known = ", ".join(machine.programmes or state.practice.programmes)
        raise ProgrammeUnknown(programme=name, machine=machine.name, known=known)
    return found


def _air_removal_tested(state: State, machine: Machine, at: str) -> None:
    if machine.removal != "active" or not state.practice.air_removal_daily:
        return
    zone = state.practice.zone
    tested = machine.air_removal_at
    if tested is None or moment(tested).astimezone(zone).date() != moment(at).astimezone(zone).date():
        raise TestDue(machine=machine.name)


def programmes_of(state: State, machine: Machine) -> list[ProgrammeLimits]:
    """What a machine runs, in its own order: the programmes registered with it, else all it can."""
    known = state.practice.programmes
    if machine.programmes:
        return [known[name] for name in machine.programmes if name in known]
    return [one for one in known.values() if one.removal != "active" or machine.removal != "gravity"]


def may_bear(state: State, pack: Pack, programme: ProgrammeLimits) -> None:
    """Raise the refusal that keeps this pack out of this programme, if there is one."""
    owner = state.set(pack.set)
    name = name_of(state, pack)
    if owner and owner.bears_c is not None and owner.bears_c < programme.set_c:
        raise ProgrammeTooHot(name=name, bears=owner.bears_c, programme=programme.name, set_c=programme.set_c)
    if programme.immediate and pack.implant:
        raise ImmediateImplant(name=name)
    what = "unwrapped" if pack.wrap == "none" else "textile" if owner and owner.kind == "textile" else "wrapped"
    if what not in programme.holds:
        raise NotForThese(programme=programme.name, what=THESE[what], name=name)
    if owner and owner.hollow and "hollow" not in programme.holds:
        raise NotForThese(programme=programme.name, what=THESE["hollow"], name=name)


THESE = {
    "wrapped": "wrapped instruments", "unwrapped": "instruments without a wrap", "textile": "textiles",
    "hollow": "hollow instruments",
}  # fmt: skip


def loaded_before_cycle(state: State, act: Act) -> Load:
    load = state.load(act.load)
    if load is None:
        raise LoadNotOpen(load=act.load)
    return load


def open_for_unloading(state: State, act: Act) -> list[Fact]:
    """The load card at unloading."""
    codes.parse_as(str(act.load), "L")
    if loaded_before_cycle(state, act).started_at is None:
        raise CycleNotStarted(load=act.load)
    return []


def end_cycle(state: State, act: Act) -> list[Fact]:
    """END: what the display said."""
    open_for_unloading(state, act)
    load = loaded_before_cycle(state, act)
    if load.ended_at:
        raise CycleEnded(load=act.load, display=load.display)
    return [act.fact("cycle_ended", {"display": act.data["display"]}, set=None, pack=None)]


def unload_pack(state: State, act: Act) -> list[Fact]:
    """One scan of a pack coming out: dry, whole, tape turned."""
    open_for_unloading(state, act)
    load = loaded_before_cycle(state, act)
    pack = known_pack(state, act.pack)
    if pack.code not in load.packs:
        raise NotInLoad(name=name_of(state, pack), load=load.code)
    if load.ended_at is None:
        raise CycleNotEnded(load=load.code)
    if pack.unloaded_at:
        return []
    return [
        act.fact("unloaded", {"dry": True, "whole": True, "tape": "turned"}, set=pack.set),
        act.fact("indicator_read", {"indicator": "tape", "result": "turned", "lot": None}, set=pack.set),
    ]


def pale_tape(state: State, act: Act) -> list[Fact]:
    """PALE at unloading: the tape of the last pack did not turn. What the scan said before is corrected."""
    pack = known_pack(state, act.pack)
    if pack.load is None or pack.unloaded_at is None:
        raise NotInLoad(name=name_of(state, pack), load=act.load)
    keys: dict[str, str | None] = {"set": pack.set, "load": pack.load, "pack": pack.code}
    said = [f for f in state.history("pack", pack.code) if f.kind == "indicator_read" and f.data["result"] == "turned"]
    notes = [act.fact("amended", {"of": f.id, "undo": True, "why": "the tape was pale"}, **keys) for f in said[-1:]]
    return [
        *notes,
        act.fact("indicator_read", {"indicator": "tape", "result": "pale", "lot": None}, **keys),
        act.fact("compromised", {"why": "tape pale"}, **keys),
    ]


def not_unloaded(state: State, load: Load) -> list[Pack]:
    """The packs on the list of a load that nobody has accounted for at unloading."""
    packs = [pack for code in load.packs if (pack := state.pack(code))]
    return [pack for pack in packs if pack.unloaded_at is None and not pack.compromised]
