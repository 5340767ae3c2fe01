"""Programmes: what a cycle must reach, with the source of each number. They are data, in `programmes/*.toml`."""

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from importlib import resources
from typing import Any

EN_285 = "EN 285, from memory"
PRACTICE = "common practice, no source"
HOLDS = ("wrapped", "hollow", "textile", "unwrapped")
"""What a programme may hold."""
REMOVALS = ("gravity", "active")


class ProgrammeError(ValueError):
    """A programme or a band nobody knows, or one that cannot be."""


@dataclass(frozen=True, slots=True)
class Band:
    """How far the plateau may lie from the set temperature: K below (negative) and above it, and who says so."""

    below_k: float
    above_k: float
    source: str


BANDS = {
    "large": Band(0.0, 3.0, "EN 285 (large sterilisers), from memory"),
    "small": Band(0.0, 4.0, "EN 13060 (small sterilisers), from memory, of low confidence"),
    "measured": Band(0.5, 2.5, "EN 285:2015 with the measuring error allowed for: abstract, shop.mhp-verlag.de"),
}
"""The bands a site may choose instead of a programme's own. `measured` reads 134.5 to 136.5 °C for 134 °C."""


@dataclass(frozen=True, slots=True)
class Programme:
    """A programme: °C, seconds, K; what it may hold, how air is removed, and where the numbers were read.

    `dry_s` is the least time of drying, or None where nothing is said of it.
    """

    name: str
    set_c: float
    hold_s: int
    removal: str
    holds: tuple[str, ...]
    immediate: bool
    source: str
    mark: str
    band_k: float
    band_source: str
    below_k: float = 0.0
    dry_s: int | None = None
    dry_source: str = PRACTICE
    removal_source: str = PRACTICE

    @property
    def wrapped(self) -> bool:
        return "wrapped" in self.holds

    @property
    def lowest_c(self) -> float:
        return self.set_c + self.below_k

    @property
    def highest_c(self) -> float:
        return self.set_c + self.band_k

    def within(self, band: str) -> "Programme":
        """This programme judged by another band. Raises ProgrammeError listing those there are."""
        if band not in BANDS:
            raise ProgrammeError(f"no band is named {band[:40]!r}: there are {', '.join(BANDS)}")
        chosen = BANDS[band]
        return replace(self, below_k=chosen.below_k, band_k=chosen.above_k, band_source=chosen.source)


def made(table: dict[str, Any], where: str) -> Programme:
    """The programme of a TOML table. Raises ProgrammeError saying which key of `where` is missing, strange or wrong."""
    known = {field.name: field for field in fields(Programme)}
    if strange := [name for name in table if name not in known]:
        raise ProgrammeError(f"{where}: nobody knows {strange[0]}; the keys are {', '.join(known)}")
    whole: dict[str, Any] = {
        "immediate": False,
        "mark": "SITE",
        "band_k": 3.0,
        "band_source": BANDS["large"].source,
    } | table
    needed = ("name", "set_c", "hold_s", "removal", "holds", "source")
    if missing := [name for name in needed if name not in whole]:
        raise ProgrammeError(f"{where}: {missing[0]} is missing; a programme needs {', '.join(needed)}")
    for name, least, most in (("set_c", 100, 140), ("hold_s", 1, 86_400), ("band_k", 0.1, 10), ("dry_s", 1, 86_400)):
        value = whole.get(name)
        if value is not None and (
            isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most
        ):
            raise ProgrammeError(f"{where}: {name} is {value!r}, and a number from {least} to {most} is needed")
    whole["holds"] = tuple(whole["holds"])
    if not whole["holds"] or not set(whole["holds"]) <= set(HOLDS):
        raise ProgrammeError(f"{where}: holds is {list(whole['holds'])}; choose among {', '.join(HOLDS)}")
    if whole["removal"] not in REMOVALS:
        raise ProgrammeError(f"{where}: removal is {whole['removal']!r}; choose among {', '.join(REMOVALS)}")
    return Programme(**whole)


@lru_cache
def _known() -> dict[str, Programme]:
    found: dict[str, Programme] = {}
    folder = resources.files("service.steam").joinpath("programmes")
    for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if file.name.endswith(".toml"):
            for table in tomllib.loads(file.read_text("utf-8"))["programme"]:
                one = made(table, file.name)
                found[one.name] = one
    return found


def programme(name: str, own: Iterable[Programme] = ()) -> Programme:
    """The programme of that name, such as `134/3`, a site's `own` first. Raises ProgrammeError listing all."""
    known = _known() | {one.name: one for one in own}
    found = known.get(name)
    if found is None:
        raise ProgrammeError(f"no programme is named {name[:40]!r}: there are {', '.join(known)}")
    return found


def all_programmes() -> list[Programme]:
    return list(_known().values())
