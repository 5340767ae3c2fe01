"""What was understood of a log, in words a person can hold against the file."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from service.steam.cycle import Cycle, Series
from service.steam.logs.mapping import Mapping
from service.steam.logs.zones import zone

NAMED_LINES = 5
"""So many of the lines that were left out are named; the others are counted."""
WARM_C = 60.0
"""°C: a log that never got as warm holds no cycle that sterilised. Common practice, no source."""
_FORMS = {
    "clock": "the time of day",
    "seconds": "seconds since the beginning",
    "minutes": "minutes since the beginning",
}


@dataclass(frozen=True, slots=True)
class Seen:
    """A log on its way to words."""

    cycle: Cycle
    how: Mapping
    titles: dict[str, str]
    air_kpa: float
    started_at: datetime | None
    counter: int | None
    left_out: tuple[tuple[int, str], ...]


def understood(seen: Seen) -> tuple[tuple[str, str], ...]:
    """Rows of what and words: columns and units, readings, step, span, first and last, what was left out and why."""
    cycle, how = seen.cycle, seen.how
    seconds = cycle.seconds
    steps = np.diff(seconds)
    rows = [("time", f"{seen.titles['time']}, {_FORMS.get(how.time.form, how.time.form)}{_dated(seen)}")]
    rows += _columns(seen)
    rows.append(("began", _began(seen)))
    rows.append(("cycle number", "not logged" if seen.counter is None else str(seen.counter)))
    rows.append(("readings", f"{seconds.size:,}, one each {float(np.median(steps)):g} s{_uneven(steps)}"))
    rows.append(("span", f"{seconds[0]:g} to {seconds[-1]:g} s, {(seconds[-1] - seconds[0]) / 60:.1f} min"))
    rows += [("first reading", _reading(cycle, 0)), ("last reading", _reading(cycle, -1))]
    coldest, hottest = float(cycle.temperature_c.min()), float(cycle.temperature_c.max())
    never = "" if hottest >= WARM_C else ": no cycle that sterilised is in it"
    rows.append(("temperatures", f"{coldest:.2f} to {hottest:.2f} °C{never}"))
    if cycle.pressure_kpa is not None:
        rows.append(("pressures", f"{cycle.pressure_kpa.min():.1f} to {cycle.pressure_kpa.max():.1f} kPa absolute"))
    rows.append(("left out", _left_out(seen.left_out)))
    return tuple(rows)


def _dated(seen: Seen) -> str:
    return f", dates from {seen.titles['date']}" if "date" in seen.titles else ""


def _columns(seen: Seen) -> list[tuple[str, str]]:
    how, cycle = seen.how, seen.cycle
    rows = []
    if how.temperature:
        rows.append(("temperature", f"{seen.titles['temperature']}, {how.temperature.unit}"))
    else:
        rows.append(("temperature", "none logged: taken from the pressure, as if the chamber held steam alone"))
    if how.second:
        empty = ", no readings" if cycle.second_c is None else ""
        rows.append(("second probe", f"{seen.titles['second']}, {how.second.unit}{empty}"))
    if how.pressure:
        unit = f"{seen.titles['pressure']}, {how.pressure.unit}"
        if how.temperature and cycle.pressure_kpa is None:
            rows.append(("pressure", f"{unit}, no readings"))
        elif how.pressure.gauge:
            rows.append(("pressure", f"{unit} gauge, with {seen.air_kpa:.1f} kPa of air at {how.altitude_m or 0:g} m"))
        else:
            rows.append(("pressure", f"{unit} absolute"))
    else:
        rows.append(("pressure", "not logged"))
    return rows


def _began(seen: Seen) -> str:
    if seen.started_at is None:
        return "no date in the log"
    here = seen.started_at.astimezone(zone(seen.how.tz or "UTC"))
    return f"{here:%Y-%m-%d %H:%M:%S} {seen.how.tz}"


def _uneven(steps: Series) -> str:
    return "" if steps.min() == steps.max() else f" ({steps.min():g} to {steps.max():g} s)"


def _reading(cycle: Cycle, at: int) -> str:
    words = f"{cycle.seconds[at]:g} s, {cycle.temperature_c[at]:.2f} °C"
    if cycle.second_c is not None:
        words += f", {cycle.second_c[at]:.2f} °C"
    if cycle.pressure_kpa is not None:
        words += f", {cycle.pressure_kpa[at]:.1f} kPa"
    return words


def _left_out(lines: tuple[tuple[int, str], ...]) -> str:
    if not lines:
        return "nothing"
    named = ", ".join(f"{line} ({why})" for line, why in lines[:NAMED_LINES])
    more = f" and {len(lines) - NAMED_LINES} more" if len(lines) > NAMED_LINES else ""
    return f"{len(lines)} line{'s' if len(lines) > 1 else ''}: {named}{more}"
