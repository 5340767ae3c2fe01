"""Change: whether a picture differs from the last one that was read, so that a still bench costs nothing."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scanner.decode import Image

_CELL = 16
"""Pixels across a cell: of noise of 4 levels a pixel, a quarter of a level is left in its mean."""
_LEAST = 5.0
"""Levels up to which a cell is the same, whatever the noise: means are whole levels, and lamps flicker."""
_OVER = 6.0
"""How far above the typical cell's difference a cell must stand out, in standard deviations."""


def small(grey: Image) -> NDArray[np.float32]:
    """The picture (height × width, 8-bit grey) as the means of its cells."""
    size = (max(1, grey.shape[1] // _CELL), max(1, grey.shape[0] // _CELL))
    return cv2.resize(grey, size, interpolation=cv2.INTER_AREA).astype(np.float32)


def differs(now: NDArray[np.float32], last: NDArray[np.float32]) -> bool:
    """Whether some cell of two `small` pictures differs by more than noise and a change of light everywhere explain."""
    if now.shape != last.shape:
        return True
    change = now - last
    apart = np.abs(change - np.median(change))
    deviation = float(np.median(apart)) / 0.6745  # of a normal distribution, whose median is at 0.6745 of it
    return bool(apart.max() > max(_LEAST, _OVER * deviation))
