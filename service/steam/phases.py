"""The phases of a steam cycle, found in its readings: air removal, heating, equilibration, plateau, exhaust, drying."""

from dataclasses import dataclass

import numpy as np

from service.steam.cycle import Cycle, extremes

SWING_K, SWING_KPA = 8.0, 25.0
"""How deep a dip is, in K or kPa, that counts as a pulse of air removal. Common practice, no source."""
BOILING_C = 100.0
"""°C: below it, after the plateau, the steam has left, where no pressure was logged."""
LEFT_KPA = 10.0
"""kPa above the surroundings at which the steam has left, where pressure was logged. Common practice, no source."""
AMBIENT_KPA = 101.325
_LOOKED_AT = 400


@dataclass(frozen=True, slots=True)
class Stretch:
    """A phase: its name, and from when to when, in seconds of the log."""

    name: str
    start_s: float
    end_s: float

    @property
    def seconds(self) -> float:
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Phases:
    """The stretches in their order, the number of air removal pulses, and the rows of the plateau or None."""

    stretches: tuple[Stretch, ...]
    pulses: int
    plateau: slice | None

    def seconds(self, name: str) -> float | None:
        """How long the phase of that name lasted; None where it was not logged."""
        return next((one.seconds for one in self.stretches if one.name == name), None)


def plateau_rows(cycle: Cycle, lowest_c: float, highest_c: float) -> slice | None:
    """The rows of the longest stretch in which no probe leaves these limits (°C)."""
    within = (cycle.temperature_c >= lowest_c) & (cycle.temperature_c <= highest_c)
    if cycle.second_c is not None:
        within &= (cycle.second_c >= lowest_c) & (cycle.second_c <= highest_c)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], within, [False])).astype(np.int8)))
    starts, ends = edges[::2], edges[1::2] - 1
    if not starts.size:
        return None
    best = int(np.argmax(cycle.seconds[ends] - cycle.seconds[starts]))
    return slice(int(starts[best]), int(ends[best]) + 1)


def phases_of(cycle: Cycle, set_c: float, highest_c: float) -> Phases:
    """The phases of a cycle run at `set_c` (°C), its plateau being the longest stretch between that and `highest_c`."""
    run = plateau_rows(cycle, set_c, highest_c)
    if run is None:
        return Phases((), 0, None)
    seconds = cycle.seconds
    first, last = run.start, run.stop - 1
    dips = _dips(cycle, first)
    heated_from = dips[-1] if dips else _coldest(cycle, first)
    reached = _reached(cycle, set_c, first)
    left = _left(cycle, last)
    found = []
    if dips:
        found.append(Stretch("air removal", float(seconds[0]), float(seconds[heated_from])))
    found.append(Stretch("heating", float(seconds[heated_from]), float(seconds[reached])))
    found.append(Stretch("equilibration", float(seconds[reached]), float(seconds[first])))
    found.append(Stretch("plateau", float(seconds[first]), float(seconds[last])))
    if left is not None:
        found.append(Stretch("exhaust", float(seconds[last]), float(seconds[left])))
        if left < seconds.size - 1:
            found.append(Stretch("drying", float(seconds[left]), float(seconds[-1])))
    return Phases(tuple(one for one in found if one.seconds > 0 or one.name == "plateau"), len(dips), run)


def _coldest(cycle: Cycle, before: int) -> int:
    return int(np.argmin(cycle.temperature_c[: before + 1]))


def _reached(cycle: Cycle, set_c: float, plateau: int) -> int:
    """The first row at which any probe is at the set temperature, in the last rise before the plateau."""
    hottest = cycle.temperature_c if cycle.second_c is None else np.maximum(cycle.temperature_c, cycle.second_c)
    below = np.flatnonzero(hottest[: plateau + 1] < set_c)
    return int(below[-1]) + 1 if below.size else 0


def _left(cycle: Cycle, last: int) -> int | None:
    """The first row after the plateau at which the steam has left the chamber."""
    if cycle.pressure_kpa is not None:
        gone = np.flatnonzero(cycle.pressure_kpa[last:] <= AMBIENT_KPA + LEFT_KPA)
    else:
        gone = np.flatnonzero(cycle.temperature_c[last:] <= BOILING_C)
    return last + int(gone[0]) if gone.size else None


def _dips(cycle: Cycle, before: int) -> list[int]:
    """The rows of the lows between two rises, each as deep as a swing, before the plateau."""
    signal, swing = (cycle.temperature_c, SWING_K) if cycle.pressure_kpa is None else (cycle.pressure_kpa, SWING_KPA)
    rows = extremes(signal[: before + 1], _LOOKED_AT)
    values = signal[rows]
    lows, high, low, low_row = [], float(values[0]), None, 0
    for row, value in zip(rows.tolist(), values.tolist(), strict=True):
        if low is None:
            high = max(high, value)
            if high - value >= swing:
                low, low_row = value, row
        elif value < low:
            low, low_row = value, row
        elif value - low >= swing:
            lows.append(low_row)
            high, low = value, None
    return lows
