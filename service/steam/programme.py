"""Programmes: what a cycle must reach, with the source of each number. They are data, in `programmes/*.toml`."""

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources


class ProgrammeError(ValueError):
    """A programme nobody knows."""


@dataclass(frozen=True, slots=True)
class Programme:
    """A programme: set temperature in °C, hold in seconds, what it may hold, and where the numbers were read.

    `band_k` is how many K above the set temperature the plateau may go.
    """

    name: str
    set_c: float
    hold_s: int
    removal: str | None
    wrapped: bool
    immediate: bool
    source: str
    mark: str
    band_k: float
    band_source: str


@lru_cache
def _known() -> dict[str, Programme]:
    found: dict[str, Programme] = {}
    folder = resources.files("service.steam").joinpath("programmes")
    for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if file.name.endswith(".toml"):
            for table in tomllib.loads(file.read_text("utf-8"))["programme"]:
                one = Programme(**table)
                found[one.name] = one
    return found


def programme(name: str) -> Programme:
    """The programme of that name, such as `134/3`. Raises ProgrammeError listing the names there are."""
    found = _known().get(name)
    if found is None:
        raise ProgrammeError(f"no programme is named {name[:40]!r}: there are {', '.join(_known())}")
    return found


def all_programmes() -> list[Programme]:
    return list(_known().values())
