"""A cycle log: temperature, and pressure and a second probe where they were logged, over time."""

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


class CycleDoubt(CycleError):  # noqa: N818  (a question, not an error)
    """A log whose numbers look like something else than was said: answered before it is judged."""


@dataclass(frozen=True, slots=True)
class Cycle:
    """Readings: `seconds` since the log began, rising; `temperature_c` in °C; `pressure_kpa` absolute, or None.

    `second_c` is another probe's, in °C, or None.
    """

    seconds: Series
    temperature_c: Series
    pressure_kpa: Series | None = None
    second_c: Series | None = None


def extremes(values: Series, most: int) -> NDArray[np.intp]:
    """The rows, `most` of them or few more, that keep every swing: all, or the lowest and highest of each stretch."""
    count = values.size
    if count <= most:
        return np.arange(count)
    width = -(-count // (most // 2))
    padded = np.concatenate((values, np.full(-count % width, values[-1]))).reshape(-1, width)
    starts = np.arange(padded.shape[0]) * width
    both = np.concatenate((starts + padded.argmin(axis=1), starts + padded.argmax(axis=1), [0, count - 1]))
    return np.unique(np.minimum(both, count - 1))
