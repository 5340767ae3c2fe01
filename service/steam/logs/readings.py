"""Cells to numbers: decimal comma, a unit behind a number, missing samples."""

import re

import numpy as np

from service.steam.cycle import CycleError, Series
from service.steam.logs.text import shown
from service.steam.logs.units import unit_of

MISSING = {"", "-", "--", "---", "----", "-----", "n/a", "N/A", "*", "***"}
"""How loggers write that there was no sample."""
_NUMBER = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+))\s*([^\d\s].*)?", re.ASCII)
_FORMULA = ("=", "+", "@", "-")


def numbers(cells: list[str], lines: list[int], title: str, *, decimal: str = ".", unit: str | None = None) -> Series:
    """The numbers of a column, NaN where there was no sample. Raises CycleError naming line and column."""
    if decimal == ",":
        cells = [cell.replace(",", ".") for cell in cells]
    try:
        found = np.array([float(cell) for cell in cells])
    except ValueError:
        found = None
    if found is None or "_" in "".join(cells):
        return np.array([_number(cell, line, title, unit) for cell, line in zip(cells, lines, strict=True)])
    strange = np.flatnonzero(~np.isfinite(found))
    if strange.size:
        raise _no_reading(cells[strange[0]], lines[strange[0]], title)
    return found


def _no_reading(cell: str, line: int, title: str) -> CycleError:
    return CycleError(f"line {line}: {title} is {cell.strip()[:30]}, which is no reading: leave the line out")


def _number(cell: str, line: int, title: str, unit: str | None) -> float:
    plain = cell.strip()
    if plain in MISSING:
        return np.nan
    if plain.lower().lstrip("+-") in {"nan", "inf", "infinity"}:
        raise _no_reading(plain, line, title)
    found = _NUMBER.fullmatch(plain)
    if found is None:
        if plain.startswith(_FORMULA) and len(plain) > 1:
            raise CycleError(f"line {line}: {title} is the formula {shown(plain)}, never computed here: export values")
        raise CycleError(f"line {line}: {title} is {shown(plain)}, and a number is needed")
    if found[2]:
        _same_unit(found[2], line, title, unit)
    value = float(found[1])
    if not np.isfinite(value):
        raise _no_reading(plain, line, title)
    return value


def _same_unit(word: str, line: int, title: str, unit: str | None) -> None:
    said = unit_of(word)
    if said is None:
        raise CycleError(f"line {line}: {title} ends in {shown(word)}, which is no unit: mend the line")
    if said[0] != unit:
        raise CycleError(f"line {line}: {title} is in {said[0]} there, and {unit} was said: export it in one unit")
