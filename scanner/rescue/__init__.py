"""Rescue: reading labels that stock readers give up on, region by region, within a time budget."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Reading:
    """A text read in a region, its corners (4 × 2, pixels) as far as they are known, and which trick read it."""

    text: str
    corners: NDArray[np.float64]
    how: str
