"""What could go into the next load of each steriliser: a suggestion, and what is left out of it."""

from collections.abc import Sequence
from dataclasses import dataclass

from service.custody.planning import Plan, plan
from service.custody.records import Machine
from service.pages.looks import Looks
from service.words.name import Name


@dataclass(frozen=True, slots=True)
class Suggested:
    """One machine's next load: rows of (code, set, what is told of it), and those left out with the reason."""

    machine: str
    programme: str
    says: str
    packs: tuple[tuple[str, str, str], ...]
    left: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class NextLoadPage:
    template = "next_load.html"
    title: str
    machines: tuple[Suggested, ...]
    sets: tuple[tuple[str, str, bool], ...]
    limit: str


def next_load_page(looks: Looks, needed: Sequence[str]) -> NextLoadPage:
    """`needed` are the codes of the sets that tomorrow's list needs, the most urgent first."""
    practice = looks.state.practice
    found = [_suggested(looks, one, needed) for one in looks.state.machines() if one.kind == "steriliser"]
    waiting = [one for one in looks.state.sets() if (pack := looks.state.pack(one.pack)) and not pack.opened_at]
    limit = f"A load weighs at most {practice.load_mass_g} g here: {practice.load_mass_source}."
    if not practice.load_mass_g:
        limit = "Nobody has said here what a load may weigh: see what the maker of the machine says."
    return NextLoadPage(
        "The next load", tuple(found),
        tuple((one.code, Name(one.name), one.code in needed) for one in waiting), limit,
    )  # fmt: skip


def _suggested(looks: Looks, machine: Machine, needed: Sequence[str]) -> Suggested:
    name = Name(machine.name)
    if machine.stopped:
        return Suggested(name, "", f"Out of service: {machine.stopped}.", (), ())
    found = plan(looks.state, machine, needed)
    if found is None:
        return Suggested(name, "", "Nothing waits for it that is packed and labelled.", (), ())
    packs = tuple((one.pack.code, Name(one.name), _told(one.needed, one.mass_g, one.mind)) for one in found.packs)
    left = tuple((pack.code, Name(set_name), why) for pack, set_name, why in found.left)
    return Suggested(name, found.programme, _mass(found), packs, left)


def _told(needed: bool, mass_g: int | None, mind: str) -> str:
    told = ["needed"] if needed else []
    told.append("not weighed" if mass_g is None else f"{mass_g} g")
    return ", ".join([*told, mind] if mind else told)


def _mass(found: Plan) -> str:
    if found.unweighed == len(found.packs):
        return f"{len(found.packs)} packs, none of them weighed."
    return f"{len(found.packs)} packs, {found.mass_g} g; {found.unweighed} of them not weighed."
