"""Planning a load: which of the packed sets could go into the next one. A suggestion that a person may ignore."""

from collections.abc import Sequence
from dataclasses import dataclass

from service.custody.chain import State
from service.custody.practice import ProgrammeLimits
from service.custody.records import InstrumentSet, Machine, Pack
from service.custody.rules.loading import may_bear, programmes_of
from service.custody.rules.refusal import Refusal

HEAVIEST_PACK_G = 11_340
"""Grams: what a set with its container may weigh, 25 lb. ANSI/AAMI ST77 §4.3.5 as reported (READ-2)."""


@dataclass(frozen=True, slots=True)
class Place:
    """A pack in a suggested load: what it weighs (g, None: not weighed), whether it is needed, and what to mind."""

    pack: Pack
    name: str
    mass_g: int | None
    needed: bool
    mind: str


@dataclass(frozen=True, slots=True)
class Plan:
    """What a machine could run next: the programme, the packs in it, and those left out with the reason."""

    programme: str
    packs: tuple[Place, ...]
    left: tuple[tuple[Pack, str, str], ...]

    @property
    def mass_g(self) -> int:
        return sum(place.mass_g or 0 for place in self.packs)

    @property
    def unweighed(self) -> int:
        return sum(place.mass_g is None for place in self.packs)


def plan(state: State, machine: Machine, needed: Sequence[str] = ()) -> Plan | None:
    """The load that takes most of what is `needed` (set codes, the most urgent first), then most of all there is.

    Among packs of equal need the one packed first goes first. None: nothing waits that this machine could take.
    """
    waiting = sorted(_waiting(state), key=lambda pack: (_rank(pack, needed), pack.packed_at or "", pack.code))
    plans = [_filled(state, programme, waiting, needed) for programme in programmes_of(state, machine)]
    plans = [one for one in plans if one.packs]
    if not plans:
        return None
    return max(plans, key=lambda one: (sum(place.needed for place in one.packs), len(one.packs)))


def _waiting(state: State) -> list[Pack]:
    """The packs that could go into a load now: packed, labelled, with nothing against them."""
    packs = [pack for owner in state.sets() if (pack := state.pack(owner.pack))]
    return [one for one in packs if state.where(one) == "packed" and one.labelled_at and not state.flags(one)]


def _rank(pack: Pack, needed: Sequence[str]) -> int:
    return needed.index(pack.set) if pack.set in needed else len(needed)


def _filled(state: State, programme: ProgrammeLimits, waiting: list[Pack], needed: Sequence[str]) -> Plan:
    inside: list[Place] = []
    left: list[tuple[Pack, str, str]] = []
    room = state.practice.load_mass_g or None
    for pack in waiting:
        owner = state.set(pack.set)
        name, mass = owner.name if owner else pack.set, mass_of(state, pack)
        try:
            may_bear(state, pack, programme)
        except Refusal as refusal:
            left.append((pack, name, refusal.headline))
            continue
        if room is not None and (mass or 0) > room:
            left.append((pack, name, "The load would be too heavy with it."))
            continue
        room = None if room is None else room - (mass or 0)
        inside.append(Place(pack, name, mass, pack.set in needed, _mind(owner, mass, programme)))
    return Plan(programme.name, tuple(inside), tuple(left))


def _mind(owner: InstrumentSet | None, mass_g: int | None, programme: ProgrammeLimits) -> str:
    if owner and owner.kind == "textile" and programme.holds != ("textile",):
        return "textiles below or apart, so that no metal drips on them"
    if mass_g is not None and mass_g > HEAVIEST_PACK_G:
        return f"heavier than {HEAVIEST_PACK_G} g: it may come out wet"
    return ""


def mass_of(state: State, pack: Pack) -> int | None:
    """What the pack weighed at packing, in grams; None where nobody weighed it."""
    packed = [fact for fact in state.history("pack", pack.code) if fact.kind == "packed"]
    mass = packed[-1].data.get("mass_g") if packed else None
    return int(mass) if mass is not None else None
