"""The wash: a turn begins, the set goes through a wash load, and somebody says how it ended."""

from label_templates import codes
from service.custody.chain import State
from service.custody.facts import Fact
from service.custody.records import InstrumentSet, Load, Pack
from service.custody.rules.act import Act
from service.custody.rules.anywhere import (
    EmptyLoad,
    LoadNotOpen,
    LoadUsed,
    ask,
    registered_set,
    working_machine,
)
from service.custody.rules.refusal import Question, Refusal


class InAnotherWash(Refusal):
    """This set is in another wash.

    {name} was scanned into wash load {load}, and that load has not ended.

    End load {load} first, or check which machine the set is in.
    """


class StillSealed(Question):
    """Has {name} been opened?

    By the record its pack {pack} is still sealed, and {state}.

    Show YES if the wrap is open and the set is to be washed; NO, and put it back, if it is sealed.
    """


class NotUnderWater(Refusal):
    """This set does not go into the washer.

    {name} holds something that must not be under water.

    Clean it by hand, into a hand wash load.
    """


WASHERS = ("washer", "hand")


def new_turn(act: Act, owner: InstrumentSet, enter: str, extra: dict[str, str | None]) -> Fact:
    """The fact that begins the next turn of a set; with it the pack's code is minted."""
    turn = owner.turn + 1
    data = {"turn": turn, "enter": enter} | {key: value for key, value in extra.items() if value}
    return act.fact("received", data, set=owner.code, pack=codes.pack_code(owner.code, turn).text, load=None)


def open_wash_load(state: State, act: Act) -> list[Fact]:
    """The load card at the wash: may things still go into it?"""
    code = str(act.load)
    working_machine(state, code, WASHERS)
    _still_open(state.load(code), code)
    return []


def _still_open(load: Load | None, code: str) -> None:
    if load and load.ended_at:
        raise LoadUsed(load=code, what=f"ended with {load.result}")


def wash_set(state: State, act: Act) -> list[Fact]:
    """A set goes into the wash load; a new turn begins unless one has."""
    open_wash_load(state, act)
    owner = registered_set(state, act.set)
    machine = state.machine(str(act.load)[:6])
    if machine and machine.kind == "washer" and not owner.immersible:
        raise NotUnderWater(name=owner.name)
    pack = state.pack(owner.pack)
    if pack is None:
        return _begin(act, owner, {})
    where = state.where(pack)
    if where == "opened":
        return _begin(act, owner, {})
    if where in {"soiled", "clean"}:
        return [act.fact("wash_loaded", pack=pack.code)]
    if where == "washing":
        if pack.wash == act.load:
            return []
        raise InAnotherWash(name=owner.name, load=pack.wash)
    if "compromised" not in state.flags(pack):
        ask(act, StillSealed(name=owner.name, pack=pack.code, state=where))
    return _begin(act, owner, {"why": f"{pack.code} was {where}, not opened by the record"})


def _begin(act: Act, owner: InstrumentSet, extra: dict[str, str | None]) -> list[Fact]:
    received = new_turn(act, owner, "soiled", extra)
    return [received, act.fact("wash_loaded", pack=received.pack)]


def end_wash(state: State, act: Act) -> list[Fact]:
    """PASS or FAIL at the end of a wash load."""
    code = str(act.load)
    load = state.load(code)
    if load is None:
        raise LoadNotOpen(load=code)
    _still_open(load, code)
    if not load.packs:
        raise EmptyLoad(load=code)
    machine = state.machine(load.machine)
    steps = list(machine.steps) if machine else []
    return [act.fact("wash_ended", {"result": act.data["result"], "steps": steps}, set=None, pack=None)]


def in_wash(state: State, load: str) -> list[Pack]:
    """The packs of a wash load, in the order they went in."""
    record = state.load(load)
    return [pack for code in (record.packs if record else ()) if (pack := state.pack(code))]
