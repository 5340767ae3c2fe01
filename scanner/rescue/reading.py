"""What a rescue returns."""

import time
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray


class Going(Enum):
    """A try goes on: its end is some milliseconds away, and whoever waits may stop here as well."""

    ON = "on"


@dataclass(frozen=True, slots=True)
class Reading:
    """A symbol: its text (empty: seen, not read), its corners (4 × 2, pixels of the frame), and which trick read it."""

    text: str
    corners: NDArray[np.float64]
    how: str


def in_time(tries: Iterable[Reading | Going | None], until: float) -> Reading | None:
    """The first reading with a text, or the last one without; none is begun after `until` (seconds, time.monotonic)."""
    seen = None
    if time.monotonic() < until:
        for found in tries:
            if isinstance(found, Going):
                continue
            seen = found or seen
            if (found and found.text) or time.monotonic() > until:
                break
    return seen
