"""A log as it was read: the cycle, when it began, its number, the hash of its bytes, and what was understood."""

import hashlib
import re
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from service.steam import saturation
from service.steam.atmosphere import ambient_kpa
from service.steam.cycle import Cycle, CycleDoubt, CycleError, Series
from service.steam.logs import doubts
from service.steam.logs.guess import guess
from service.steam.logs.mapping import Column, Mapping, of_json
from service.steam.logs.readings import numbers
from service.steam.logs.rows import Table, table_of
from service.steam.logs.text import shown, text_of
from service.steam.logs.times import Clock, Moments, by_clock, elapsed, start_of
from service.steam.logs.understood import Seen, understood
from service.steam.logs.units import celsius, kpa_absolute
from service.steam.logs.zones import zone

LONGEST_COUNTER = 9
"""Digits of a machine's cycle number."""


@dataclass(frozen=True, slots=True)
class Log:
    """What a file held: the cycle, when it began (aware, or None), the machine's number of it, the hash of the bytes.

    `understood` is rows of words, `doubts` the questions that stand against judging it, `mapping` how it was read.
    """

    cycle: Cycle
    started_at: datetime | None
    counter: int | None
    sha256: str
    understood: tuple[tuple[str, str], ...]
    doubts: tuple[str, ...]
    mapping: Mapping


def read(data: bytes, mapping: Mapping | None = None, *, altitude_m: float = 0.0, tz: str = "UTC") -> Log:
    """The log of these bytes, to be judged. Raises CycleError, and CycleDoubt for one that asks something first."""
    found = understand(data, mapping, altitude_m=altitude_m, tz=tz)
    if found.doubts:
        raise CycleDoubt(found.doubts[0])
    return found


def read_csv(data: bytes) -> Cycle:
    """The cycle of a log that explains itself, such as a CSV with the columns seconds, temperature_c, pressure_kpa."""
    return read(data).cycle


def again(data: bytes, mapping: str | None) -> Cycle:
    """The cycle of a log that was judged, as it was read then: by the mapping in its record, where there is one."""
    return read(data, of_json(mapping) if mapping else None).cycle


def understand(data: bytes, mapping: Mapping | None = None, *, altitude_m: float = 0.0, tz: str = "UTC") -> Log:
    """The log with its doubts beside it: to try a mapping on, never to judge. Raises CycleError.

    Altitude in metres and time zone are the site's, where the mapping says none of its own.
    """
    text = text_of(data, mapping.encoding if mapping else None)
    how = mapping or guess(text)
    how = replace(how, altitude_m=altitude_m if how.altitude_m is None else how.altitude_m, tz=how.tz or tz)
    try:
        air = ambient_kpa(how.altitude_m or 0.0)
    except ValueError as error:
        raise CycleError(str(error)) from error
    table = table_of(text, how)
    moments = _moments(text, how, table)
    readings = {
        name: numbers(table.cells[name], table.lines, table.titles[name], decimal=how.decimal, unit=column.unit)
        for name, column in how.quantities().items()
    }
    readings = {name: series for name, series in readings.items() if not np.isnan(series).all()}
    there = ~np.isnan(np.array([moments.seconds, *readings.values()])).any(axis=0)
    lines = [line for line, kept in zip(table.lines, there.tolist(), strict=True) if kept]
    empty = [(line, "no sample") for line, kept in zip(table.lines, there.tolist(), strict=True) if not kept]
    left_out = sorted([*table.left_out, *empty])
    if len(lines) < 2:
        lacking = f" (line {left_out[0][0]}: {left_out[0][1]})" if left_out else ""
        raise CycleError(f"the log has {len(lines)} readings{lacking}: at least two are needed")
    seconds = moments.seconds[there]
    _rising(seconds, lines, "seconds" if how.time.form == "seconds" else "times")
    how, cycle, asked = _in_units(how, seconds, {name: series[there] for name, series in readings.items()}, air)
    if not asked:
        doubts.refuse_faults(cycle, lines)
    if how.temperature is None:
        cycle = replace(cycle, pressure_kpa=None)
    counter = _counter(text, how)
    seen = Seen(cycle, how, table.titles, air, moments.started_at, counter, tuple(left_out))
    sha256 = hashlib.sha256(data).hexdigest()
    return Log(cycle, moments.started_at, counter, sha256, understood(seen), tuple(asked), how)


def _moments(text: str, how: Mapping, table: Table) -> Moments:
    """When each reading was taken."""
    here, start = zone(how.tz or "UTC"), None
    if how.start and (found := re.search(how.start, text, re.MULTILINE)):
        start = start_of(found, how.time.date, here, text.count("\n", 0, found.start()) + 1)
    times, title = table.cells["time"], table.titles["time"]
    if how.time.form == "clock":
        return by_clock(times, table.cells.get("date"), table.lines, Clock(here, how.time.date, start))
    if how.time.form in {"seconds", "minutes"}:
        seconds = numbers(times, table.lines, title, decimal=how.decimal, unit=how.time.form)
        seconds *= 60 if how.time.form == "minutes" else 1
    else:
        seconds = elapsed(times, table.lines, title, how.time.form)
    first = seconds[~np.isnan(seconds)][:1]
    began = start + timedelta(seconds=float(first[0])) if start and first.size and abs(first[0]) < 86_400 else None
    return Moments(seconds, began)


def _rising(seconds: Series, lines: list[int], word: str) -> None:
    steps = np.diff(seconds)
    back = np.flatnonzero(~(steps > 0))
    if not back.size:
        return
    at = int(back[0]) + 1
    line = lines[at]
    if back.size == steps.size and steps.size > 1 and (steps < 0).all():
        raise CycleError(f"line {line}: the {word} do not rise but fall: say newest_first = true in a mapping")
    if seconds[at] == seconds[at - 1]:
        raise CycleError(f"line {line}: the {word} do not rise there, one stands twice: take the double reading out")
    if seconds[at] <= seconds[0]:
        raise CycleError(f"line {line}: the {word} do not rise there but begin again: send one cycle, and send it once")
    raise CycleError(f"line {line}: the {word} do not rise there: one cycle, its lines in order, is needed")


def _in_units(how: Mapping, seconds: Series, raw: dict[str, Series], air: float) -> tuple[Mapping, Cycle, list[str]]:
    """The cycle in °C and kPa absolute, the mapping with what it left open, and what the numbers look like instead."""
    pressure, column = None, how.pressure
    if column and "pressure" in raw:
        pressure = kpa_absolute(raw["pressure"], column.unit, air, gauge=bool(column.gauge))
    if how.temperature is None:
        if pressure is None:
            raise CycleError("the pressure column holds no reading: check the mapping")
        derived = saturation.temperature_c(pressure)
        if np.isnan(derived).any():
            raise CycleError(
                "a pressure is below 0.6 kPa absolute: check the unit, and whether the gauge reads from nothing"
            )
        return how, Cycle(seconds, derived, pressure), []
    if "temperature" not in raw:
        raise CycleError("the temperature column holds no reading: check the probe and the mapping")
    second = celsius(raw["second"], how.second.unit) if how.second and "second" in raw else None
    cycle = Cycle(seconds, celsius(raw["temperature"], how.temperature.unit), pressure, second)
    asked = doubts.unit_doubts(cycle, how.temperature.unit)
    if asked or column is None or pressure is None:
        return how, cycle, asked
    if column.gauge is None:
        gauge = doubts.guessed_gauge(cycle, air)
        if gauge is None:
            return how, cycle, ["does the pressure read from nothing or from the air? Say bar abs, or bar gauge"]
        column = Column(column.column, column.unit, gauge)
        how = replace(how, pressure=column)
        cycle = replace(cycle, pressure_kpa=kpa_absolute(raw["pressure"], column.unit, air, gauge=gauge))
    return how, cycle, doubts.pressure_doubts(cycle, column.unit, air, gauge=bool(column.gauge))


def _counter(text: str, how: Mapping) -> int | None:
    """The number the machine gave its cycle, where the mapping says how it is written."""
    found = re.search(how.counter, text, re.MULTILINE) if how.counter else None
    if found is None:
        return None
    told = (found[1] or "").strip()
    if not told.isascii() or not told.isdigit() or len(told) > LONGEST_COUNTER:
        raise CycleError(f"the cycle's number reads {shown(told)}, and digits are needed: mend counter.pattern")
    return int(told)
