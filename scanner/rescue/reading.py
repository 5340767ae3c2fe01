"""What a rescue returns."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Reading:
    """A symbol: its text (empty: seen, not read), its corners (4 × 2, pixels of the frame), and which trick read it."""

    text: str
    corners: NDArray[np.float64]
    how: str
