"""A machine's history from its readings: what a chart follows of every cycle, all cycles in one pass."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.steam.cycle import Cycle, Series
from service.steam.lethality import rate
from service.steam.programme import Programme


@dataclass(frozen=True, slots=True)
class History:
    """One value a cycle: mean of the plateau in °C (nan without one), hold in seconds, F0 in minutes."""

    plateau_c: Series
    hold_s: Series
    f0_min: Series


def history(cycles: Sequence[Cycle], programme: Programme) -> History:
    """What `judge` finds of plateau, hold and F0 in each of these cycles of one programme."""
    seconds = np.concatenate([one.seconds for one in cycles])
    celsius = np.concatenate([one.temperature_c for one in cycles])
    starts = np.cumsum([0, *(one.seconds.size for one in cycles[:-1])])
    rates = rate(celsius)
    steps = np.diff(seconds, append=seconds[-1]) * (rates + np.roll(rates, -1)) / 2 / 60
    steps[starts[1:] - 1] = 0
    plateau_c, hold_s = _plateaus(seconds, celsius, starts, programme)
    return History(plateau_c, hold_s, np.add.reduceat(steps, starts))


def _plateaus(seconds: Series, celsius: Series, starts: np.ndarray, programme: Programme) -> tuple[Series, Series]:
    """The mean and length of the longest stretch of each cycle within the programme's band; the first of equals."""
    within = (celsius >= programme.lowest_c) & (celsius <= programme.highest_c)
    first = np.zeros(seconds.size, dtype=bool)
    first[starts] = True
    before = np.concatenate(([False], within[:-1])) & ~first
    after = np.concatenate((within[1:], [False])) & ~np.concatenate((first[1:], [True]))
    begins, ends = np.flatnonzero(within & ~before), np.flatnonzero(within & ~after)
    whose = np.searchsorted(starts, begins, side="right") - 1
    long = seconds[ends] - seconds[begins]
    best = np.lexsort((begins, -long, whose))
    best = best[np.flatnonzero(np.diff(whose[best], prepend=-1))]
    areas = np.concatenate(([0.0], np.cumsum(np.diff(seconds) * (celsius[1:] + celsius[:-1]) / 2)))
    plateau_c, hold_s = np.full(starts.size, np.nan), np.zeros(starts.size)
    hold_s[whose[best]] = long[best]
    area = areas[ends[best]] - areas[begins[best]]
    plateau_c[whose[best]] = np.where(long[best] > 0, area / np.maximum(long[best], 1e-9), celsius[begins[best]])
    return plateau_c, hold_s
