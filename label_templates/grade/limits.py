"""What each value is held against: limits as data, with the mark of their source, and what a label is worth by them.

The limits are those of the 2000 and 2011 editions; the number is interpolated between them. READ-2: seen in
what makers of reading equipment restate, not in a standard. RECALL: from memory. PRACTICE: common practice, no source.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

LINEAR_EDITION: Final = "ISO/IEC 15416, limits of the 2000 edition, in tenths between them"
MATRIX_EDITION: Final = "ISO/IEC 15415, limits of the 2011 edition, in tenths between them"
LETTERS: Final = "FDCBA"
_LETTER_FROM: Final = (0.5, 1.5, 2.5, 3.5)


@dataclass(frozen=True, slots=True)
class Limit:
    """The values from which on a 4, 3, 2 and 1 are given, the best first; a single value is passed (4) or not (0)."""

    name: str
    unit: str
    sense: Literal["at least", "at most"]
    steps: tuple[float, ...]
    source: str

    def grade(self, value: float) -> float:
        """The grade of `value`, 0 to 4 in whole tenths; a tenth is given once all of it is reached."""
        sign = 1 if self.sense == "at least" else -1
        value, steps = sign * round(value, 6), [sign * step for step in self.steps]
        if value >= steps[0]:
            return 4.0
        if len(steps) == 1 or value < steps[-1]:
            return 0.0
        found = np.interp(value, steps[::-1], (1, 2, 3, 4))
        return math.floor(found * 10 + 1e-6) / 10

    def __str__(self) -> str:
        return f"{self.sense} {self.steps[0]:g}"


def letter(number: float) -> str:
    """A to F for a grade of 0 to 4: A from 3.5, B from 2.5, C from 1.5, D from 0.5 (axicon.com/fractional-grading)."""
    return LETTERS[sum(number >= step for step in _LETTER_FROM)]


_AXICON = "READ-2 axicon.com/fractional-grading"
_COGNEX = "READ-2 manualshive.com, reader manual p. 39"
_KEYENCE = "READ-2 manualshelf.com, reader manual p. 22"

_ANNEX_G = "RECALL ISO/IEC 18004 annex G"
_FOUR_CONTRASTS = (0.70, 0.55, 0.40, 0.20)
_FOUR_SHARES = (0.62, 0.50, 0.37, 0.25)


def _named(*found: Limit) -> dict[str, Limit]:
    return {limit.name: limit for limit in found}


LINEAR: Final = _named(
    Limit("decode", "", "at least", (1,), _AXICON),
    Limit("symbol contrast", "", "at least", _FOUR_CONTRASTS, _AXICON),
    Limit("minimum reflectance", "", "at most", (0.5,), _AXICON),
    Limit("edge contrast", "", "at least", (0.15,), _AXICON),
    Limit("modulation", "", "at least", (0.70, 0.60, 0.50, 0.40), _AXICON),
    Limit("defects", "", "at most", (0.15, 0.20, 0.25, 0.30), _AXICON),
    Limit("decodability", "", "at least", _FOUR_SHARES, _AXICON),
    Limit("quiet zone", "X", "at least", (10,), "READ GS1 General Specifications 5.4.4.2"),
)
MATRIX: Final = _named(
    Limit("decode", "", "at least", (1,), _COGNEX),
    Limit("symbol contrast", "", "at least", _FOUR_CONTRASTS, _COGNEX),
    Limit("modulation", "", "at least", (0.50, 0.40, 0.30, 0.20), _COGNEX),
    Limit("fixed pattern damage", "", "at least", (4, 3, 2, 1), _ANNEX_G),
    Limit("quiet zone", "modules", "at most", (0, 1, 2, 3), _ANNEX_G),
    Limit("axial nonuniformity", "", "at most", (0.06, 0.08, 0.10, 0.12), _KEYENCE),
    Limit("grid nonuniformity", "X", "at most", (0.38, 0.50, 0.63, 0.75), _KEYENCE),
    Limit("unused error correction", "", "at least", _FOUR_SHARES, _COGNEX),
)
FINDER: Final = Limit("finder pattern and its light edge", "wrong", "at most", (0, 1, 2, 3), _ANNEX_G)
TIMING: Final = Limit("share of a timing pattern wrong", "", "at most", (0, 0.07, 0.11, 0.14), _ANNEX_G)
ALIGNMENT: Final = Limit("share of alignment patterns damaged", "", "at most", (0, 0.10, 0.20, 0.30), _ANNEX_G)
TOGETHER: Final = Limit("mean grade of the patterns", "grade", "at least", (4, 3.5, 3, 2.5), _ANNEX_G)
GROWTH_TOLD: Final = 0.15
"""Share of a module by which bars may be fat or thin before something is said. PRACTICE."""
UNEVEN_TOLD: Final = 0.75
"""Share of the lightest part's light below which another part is said to lie in the shade. PRACTICE."""
COARSE: Final = 4
"""Pixels of a module from which on print and picture can be told apart. PRACTICE."""
