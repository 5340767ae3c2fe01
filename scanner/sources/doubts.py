"""Doubts about a live picture: black, or the same to the last bit."""

import numpy as np

from scanner.decode import Image

AFTER_S = 3.0
"""Seconds that a picture is black or frozen before it is said."""
DARKEST = 16
"""Grey level under which nothing of a picture may lie to call it black: a covered sensor's noise stays below."""
_STEP = 8


class Doubts:
    """Says once when a live source's picture goes black or stands still, and once when it is well again."""

    def __init__(self) -> None:
        self._last = b""
        self._since: dict[str, float] = {}
        self._told: str | None = None

    def look(self, at_s: float, image: Image) -> str | None:
        """The words for a person, when something changed; `at_s` counts seconds since the source began."""
        held = self._doubt(at_s, image)
        if held == self._told:
            return None
        was, self._told = self._told, held
        return held or (was and "the picture is well again")

    def _doubt(self, at_s: float, image: Image) -> str | None:
        few = image[::_STEP, ::_STEP]
        bits = few.tobytes()
        dark = _is_dark(few)
        signs = {
            "the picture is black: take the cap off the lens, or bring light": dark,
            "the picture stands still: pull the camera's plug and put it in again": bits == self._last and not dark,
        }
        self._last = bits
        for words, seen in signs.items():
            if not seen:
                self._since.pop(words, None)
            elif at_s - self._since.setdefault(words, at_s) >= AFTER_S:
                return words
        return None


def is_black(image: Image) -> bool:
    """Whether nothing of a picture is brighter than a covered sensor's noise."""
    return _is_dark(image[::_STEP, ::_STEP])


def _is_dark(few: Image) -> bool:
    """Whether at most one value in a hundred is brighter: a stuck pixel makes no picture."""
    return bool(np.count_nonzero(few >= DARKEST) <= few.size // 100)
