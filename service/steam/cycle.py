"""A cycle log: temperature, and pressure where it was logged, over time."""

import csv
import io
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Series = NDArray[np.float64]

LARGEST = 8 << 20
"""Bytes: two days of one-second readings with pressure are under 6 MB."""
COLDEST_C, HOTTEST_C = -20.0, 160.0
"""°C: outside these no steam steriliser runs; a reading there is a probe's fault or another unit. Common practice, no
source."""
HIGHEST_KPA = 1000.0


class CycleError(ValueError):
    """A log that cannot be read: which line, what is wrong, what to do."""


@dataclass(frozen=True, slots=True)
class Cycle:
    """Readings: `seconds` since the log began, rising; `temperature_c` in °C; `pressure_kpa` absolute, or None.

    `second_c` is what a second probe read, or None.
    """

    seconds: Series
    temperature_c: Series
    pressure_kpa: Series | None = None
    second_c: Series | None = None


def read_csv(data: bytes) -> Cycle:
    """The cycle of a CSV with the columns `seconds,temperature_c` and, where there is one, `pressure_kpa`.

    A first line that begins with `#` is a comment. Raises CycleError naming the line.
    """
    if len(data) > LARGEST:
        raise CycleError(f"the log has {len(data)} bytes, more than {LARGEST}: send one cycle, not a month")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise CycleError(f"the log is not UTF-8 text (byte {error.start}): export it as CSV in UTF-8") from error
    if "\0" in text:
        raise CycleError("the log holds NUL characters: export it as CSV in UTF-8")
    plain = io.StringIO(text.replace("\r\n", "\n").replace("\r", "\n"))
    try:
        rows = [(n, row) for n, row in enumerate(csv.reader(plain), 1) if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise CycleError(f"the log is not CSV ({error}): export it again") from error
    if rows and rows[0][1][0].lstrip().startswith("#"):
        rows = rows[1:]
    if not rows:
        raise CycleError("the log is empty: it needs a line of column names and at least two readings")
    names = [cell.strip() for cell in rows[0][1]]
    columns = _columns(names, rows[0][0])
    readings = rows[1:]
    if len(readings) < 2:
        raise CycleError(f"the log has {len(readings)} readings: at least two are needed")
    values = np.array([_numbers(line, row, names, columns) for line, row in readings], dtype=np.float64)
    lines = [line for line, _ in readings]
    _check(values, lines)
    return Cycle(values[:, 0], values[:, 1], values[:, 2] if len(columns) == 3 else None)


def _columns(names: list[str], line: int) -> list[int]:
    for needed in ("seconds", "temperature_c"):
        if names.count(needed) != 1:
            raise CycleError(
                f"line {line}: the column {needed} is missing or there twice; the columns are {', '.join(names)}"
            )
    wanted = ["seconds", "temperature_c", *(["pressure_kpa"] if "pressure_kpa" in names else [])]
    return [names.index(name) for name in wanted]


def _numbers(line: int, row: list[str], names: list[str], columns: list[int]) -> list[float]:
    if len(row) != len(names):
        raise CycleError(f"line {line} has {len(row)} cells and the first line {len(names)}: mend or export it again")
    found = []
    for column in columns:
        cell = row[column].strip()
        try:
            value = float(cell)
        except ValueError as error:
            raise CycleError(f"line {line}: {names[column]} is {cell[:30]!r}, and a number is needed") from error
        if not math.isfinite(value):
            raise CycleError(f"line {line}: {names[column]} is {cell[:30]}, which is no reading: leave the line out")
        found.append(value)
    return found


def _check(values: Series, lines: list[int]) -> None:
    back = np.flatnonzero(np.diff(values[:, 0]) <= 0)
    if back.size:
        line = lines[int(back[0]) + 1]
        raise CycleError(f"line {line}: the seconds do not rise there: one cycle, its lines in order, is needed")
    odd = np.flatnonzero((values[:, 1] < COLDEST_C) | (values[:, 1] > HOTTEST_C))
    if odd.size:
        line, value = lines[int(odd[0])], values[odd[0], 1]
        raise CycleError(f"line {line}: {value:g} °C cannot be in a steriliser: check the unit and the probe")
    if values.shape[1] == 3:
        odd = np.flatnonzero((values[:, 2] < 0) | (values[:, 2] > HIGHEST_KPA))
        if odd.size:
            line, value = lines[int(odd[0])], values[odd[0], 2]
            raise CycleError(f"line {line}: {value:g} kPa absolute cannot be in a steriliser: check the unit")
