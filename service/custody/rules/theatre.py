"""Theatre: may this pack be opened, for whom, and what did its strip say."""

from collections.abc import Sequence

from service.custody.chain import State, expired, use_by
from service.custody.facts import Fact
from service.custody.records import InstrumentSet, Pack
from service.custody.rules.act import Act
from service.custody.rules.anywhere import known_pack, name_of, said
from service.custody.rules.packing import NotPacked
from service.custody.rules.refusal import Refusal


class NotReleased(Refusal):
    """This pack is not released.

    {name}, turn {turn}, is {state}. Nobody has released it.

    {todo}
    """

    overridable = True


class Expired(Refusal):
    """This pack is out of date.

    The last day of use of {name}, turn {turn}, was {use_by}.

    {todo}
    """

    overridable = True


class TapePale(Refusal):
    """The tape of this pack did not turn.

    {name}, turn {turn}, came out with pale tape: steam may not have reached it.

    {todo}
    """

    overridable = True


class StepMissing(Refusal):
    """This pack has a gap in its record.

    {name}, turn {turn}: {missing}.

    {todo}
    """

    overridable = True


class Held(Refusal):
    """This pack is on hold.

    {name}, turn {turn}: {why}.

    {todo}
    """


class Recalled(Refusal):
    """This pack is recalled.

    {name}, turn {turn}, is one of the packs of a recall. It must be accounted for, not used.

    {todo}
    """


class Compromised(Refusal):
    """This pack must not be used.

    {name}, turn {turn}: {why}.

    {todo}
    """


class AlreadyOpened(Refusal):
    """This pack has been opened already.

    {name}, turn {turn}, was opened {when}.

    {todo}
    """


class WrongSetInside(Refusal):
    """The set inside is not the one on the label.

    The tag says {inside}; the pack {pack} is {name}.

    Do not use it. Keep both, and tell the office.
    """


class NotReturned(Refusal):
    """This pack cannot go back.

    {name} is {state} by the record.

    An opened set goes to the wash.
    """


NEVER_OVERRIDDEN = ("wet", "torn", "dropped", "missing", "strip pale")


def may_open(state: State, act: Act) -> list[Fact]:
    """May this pack be opened? Nothing is written for a go."""
    pack = known_pack(state, act.pack)
    for refusal in reasons_against(state, pack, act.at):
        raise refusal
    return []


def reasons_against(state: State, pack: Pack, at: str) -> list[Refusal]:
    """Every rule that stops this pack and was not overridden, the gravest first."""
    found = [*_never(state, pack), *_overridable(state, pack, at)]
    return [refusal for refusal in found if refusal.rule not in pack.overridden]


def _details(state: State, pack: Pack, at: str) -> dict[str, object]:
    other = stand_in(state, pack, at)
    if other is None:
        todo = "Fetch another pack, and scan it before opening."
    elif other[1].shelf:
        todo = f"Fetch {other[0].name} from shelf {int(other[1].shelf.split('-')[2])}, and scan it before opening."
    else:
        todo = f"Fetch {other[0].name}, and scan it before opening."
    return {"name": name_of(state, pack), "turn": pack.turn, "todo": todo}


def _never(state: State, pack: Pack) -> list[Refusal]:
    details = _details(state, pack, pack.opened_at or pack.seen_at)
    found: list[Refusal] = []
    if pack.opened_at:
        at = said(state, pack.opened_at)
        when = f"{at} for patient {pack.patient}" if pack.patient else f"{at} and not used"
        found.append(AlreadyOpened(when=when, **details))
    load, wash = state.load(pack.load), state.load(pack.wash)
    rejected = (load and load.rejected) or (wash and wash.rejected)
    why = [reason for reason in pack.compromised if reason in NEVER_OVERRIDDEN or reason != "tape pale"]
    if rejected or why:
        found.append(Compromised(why=f"its load was rejected, {rejected}" if rejected else ", ".join(why), **details))
    if pack.recalls:
        found.append(Recalled(**details))
    held = (load and load.held) or (wash and wash.held)
    if held:
        found.append(Held(why=held, **details))
    if pack.packed_at is None:
        found.append(NotPacked(pack=f"{details['name']}, {pack.code},", state=state.where(pack)))
    return found


def _overridable(state: State, pack: Pack, at: str) -> list[Refusal]:
    if pack.packed_at is None:
        return []
    details = _details(state, pack, at)
    found: list[Refusal] = []
    load, where = state.load(pack.load), state.where(pack)
    if where not in {"released", "opened"}:
        into = f"waiting, and came out of steam load {pack.load[7:11]}" if pack.load and where == "waiting" else where
        found.append(NotReleased(state=into, **details))
    if "tape pale" in pack.compromised or pack.tape == "pale":
        found.append(TapePale(**details))
    if expired(pack, load, at, state.practice.zone):
        last = use_by(pack, load, state.practice.zone)
        found.append(Expired(use_by=f"{last:%-d %B %Y}" if last else "", **details))
    missing = steps_missing(state, pack)
    if where == "released" and missing:
        found.append(StepMissing(missing=", ".join(missing), **details))
    return found


def steps_missing(state: State, pack: Pack) -> list[str]:
    """The steps of the circle, up to release, that this pack's records do not show."""
    washed: Pack | None = pack
    while washed and washed.wash is None and washed.came_from:
        washed = state.pack(washed.came_from)
    wash = state.load(washed.wash) if washed else None
    load = state.load(pack.load)
    steps = {
        "not scanned into a wash load": wash,
        "wash end not scanned, or not passed": wash and wash.result == "pass",
        "packing not recorded": pack.packed_at,
        "not scanned into a steam load": load,
        "cycle start not recorded": load and load.started_at,
        "cycle end not recorded": load and load.ended_at,
        "no passing judgement of the cycle": load and load.verdict == "pass",
        "not scanned at unloading": pack.unloaded_at,
        "nobody released the load": load and load.released_at,
    }
    return [words for words, there in steps.items() if not there]


def stand_in(state: State, pack: Pack, at: str) -> tuple[InstrumentSet, Pack] | None:
    """Another set with the same sheet whose pack may be opened: first to expire, ties by code."""
    owner = state.set(pack.set)
    ready: list[tuple[str, str, InstrumentSet, Pack]] = []
    for other in state.sets() if owner else ():
        other_pack = state.pack(other.pack)
        if other.code == pack.set or other.retired or other_pack is None or other.sheet != (owner and owner.sheet):
            continue
        load = state.load(other_pack.load)
        if state.where(other_pack) != "released" or state.flags(other_pack) or other_pack.short:
            continue
        if expired(other_pack, load, at, state.practice.zone):
            continue
        last = use_by(other_pack, load, state.practice.zone)
        ready.append((last.isoformat() if last else "9", other_pack.code, other, other_pack))
    if not ready:
        return None
    best = min(ready, key=lambda row: row[:2])
    return best[2], best[3]


def open_pack(state: State, act: Act) -> list[Fact]:
    """TURNED, PALE or UNSURE: the pack is open, and the strip showed `act.data["strip"]`.

    A pale strip holds the whole load at once.
    """
    may_open(state, act)
    pack = known_pack(state, act.pack)
    strip = str(act.data["strip"])
    keys: dict[str, str | None] = {"set": pack.set, "pack": pack.code}
    read = {"indicator": "strip", "result": strip, "lot": pack.strip_lot}
    if act.data.get("unsure"):
        read["said"] = "unsure"
    facts = [
        act.fact("opened", {"case": act.data["case"]}, load=None, **keys),
        act.fact("indicator_read", read, load=pack.load, **keys),
    ]
    if strip == "pale":
        facts.append(act.fact("compromised", {"why": "strip pale"}, load=None, **keys))
        if pack.load:
            why = f"the strip inside {pack.code} was pale"
            facts.append(act.fact("held", {"why": why}, load=pack.load, set=None, pack=None, patient=None))
    return facts


def open_unused(state: State, act: Act) -> list[Fact]:
    """UNUSED: opened and not needed. It goes round again, with no patient in its record."""
    may_open(state, act)
    pack = known_pack(state, act.pack)
    return [act.fact("opened", {"used": False}, set=pack.set, load=None, patient=None)]


def return_pack(state: State, act: Act) -> list[Fact]:
    """RETURN: a sealed pack comes back from theatre. It asks for a shelf."""
    pack = known_pack(state, act.pack)
    where = state.where(pack)
    if where not in {"released", "waiting"}:
        raise NotReturned(name=name_of(state, pack), state=where)
    return [act.fact("returned", set=pack.set, load=None, patient=None)]


def same_set_inside(state: State, act: Act) -> list[Fact]:
    """The set tag found inside the pack just opened: a cross-check that writes nothing when it agrees."""
    pack = known_pack(state, act.pack)
    if act.set != pack.set:
        inside = state.set(act.set)
        raise WrongSetInside(inside=inside.name if inside else act.set, pack=pack.code, name=name_of(state, pack))
    return []


def names_of(state: State, packs: Sequence[str]) -> str:
    found = [name_of(state, pack) for code in packs if (pack := state.pack(code))]
    return ", ".join(found)
