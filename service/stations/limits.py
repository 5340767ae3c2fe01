"""What a site judges a cycle by: the programme of that name, its own among them, and its band."""

from dataclasses import dataclass

from service.custody.chain import State
from service.custody.practice import Practice
from service.steam.programme import Programme, all_programmes, made, programme


@dataclass(frozen=True, slots=True)
class Limits:
    """What a cycle is judged by: its programme, the band it was put into (empty: its own), the machine's removal."""

    programme: Programme
    band: str
    removal: str | None


def limits_for(state: State, machine: str, name: str) -> Limits:
    """What the site judges this programme by on this machine. Raises ProgrammeError."""
    found = state.machine(machine)
    band = state.practice.band
    return Limits(limits_of(state.practice, name, band), band, found.removal if found else None)


def own_programmes(practice: Practice) -> list[Programme]:
    return [made({**table, "name": name}, "programmes") for name, table in practice.own_programmes.items()]


def programmes_here(practice: Practice) -> list[Programme]:
    """Every programme this site may run; one of its own takes the place of a known one of that name."""
    own = own_programmes(practice)
    names = {one.name for one in own}
    return [*(one for one in all_programmes() if one.name not in names), *own]


def limits_of(practice: Practice, name: str, band: str) -> Programme:
    """The programme to judge by, in `band` where one is named. Raises ProgrammeError listing what there is."""
    found = programme(name, own_programmes(practice))
    return found.within(band) if band else found
