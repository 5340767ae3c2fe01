"""Track: a region that is seen and not read, followed from frame to frame."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scanner.decode import Image
from scanner.fuse import Stack
from scanner.showing import GONE_S

_NEAR = 0.75
"""How far from where it is expected a region may lie, as a share of its longest side."""
_SIZES = 1.6
"""How many times larger or smaller the same region may come."""
_AT_ONCE = 2
"""Regions followed at once: the likeliest."""
_SELDOM = 4
"""Of a region given up with a hint only every fourth frame is kept: what is no label may lie there all day."""


@dataclass(slots=True, eq=False)
class Track:
    """A region: its corners (4 × 2, pixels) in the newest frame that showed it, how it moves, and its crops."""

    corners: NDArray[np.float64]
    came_s: float
    seen_s: float
    speed: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))
    """Pixels a second, x and y."""
    looks: int = 1
    stack: Stack = field(default_factory=Stack)
    hinted: bool = False

    def expected(self, at_s: float) -> NDArray[np.float64]:
        return self.corners + self.speed * (at_s - self.seen_s)

    def follow(self, at_s: float, corners: NDArray[np.float64]) -> None:
        passed = max(at_s - self.seen_s, 1e-3)
        corners = turned_like(corners, self.expected(at_s))
        self.speed = (self.speed + (corners - self.corners).mean(axis=0) / passed) / 2
        self.corners, self.seen_s = corners, at_s
        self.looks += 1


class Tracks:
    """The regions in view that are not read yet."""

    def __init__(self) -> None:
        self.now: list[Track] = []

    def feed(self, at_s: float, grey: Image, regions: Iterable[NDArray[np.float64]]) -> list[Track]:
        """Follow them into this frame (8-bit grey), whose unread `regions` come likeliest first.

        Returns those seen in this frame.
        """
        self.now = [track for track in self.now if 0 <= at_s - track.seen_s <= GONE_S]
        found = []
        for region in regions:
            free = [track for track in self.now if track not in found and _same(track.expected(at_s), region)]
            if free:
                track = min(free, key=lambda one: _apart(one.expected(at_s), region))
                track.follow(at_s, region)
            elif len(self.now) < _AT_ONCE:
                track = Track(region, at_s, at_s)
                self.now.append(track)
            else:
                continue
            found.append(track)
        for track in found:
            if not track.hinted or track.looks % _SELDOM == 0:
                _add(track, grey)
        return found

    def stay(self, at_s: float) -> None:
        """What was in view still is at `at_s`: nothing has changed since."""
        for track in self.now:
            track.seen_s = at_s


def turned_like(corners: NDArray[np.float64], like: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same corners (4 × 2), begun at the one that brings them nearest to `like`: a finder may begin at any."""
    return min((np.roll(corners, turn, axis=0) for turn in range(4)), key=lambda one: np.abs(one - like).sum())


def _apart(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    return float(np.linalg.norm(one.mean(axis=0) - other.mean(axis=0)))


def _same(one: NDArray[np.float64], other: NDArray[np.float64]) -> bool:
    large, less = sorted((longest_side(one), longest_side(other)), reverse=True)
    return large <= _SIZES * less and _apart(one, other) <= _NEAR * large


def _add(track: Track, grey: Image) -> None:
    """Keep this frame's crop; when it is not alike, begin anew with it."""
    if not track.stack.add(grey, track.corners):
        track.stack = Stack()
        track.stack.add(grey, track.corners)


def longest_side(corners: NDArray[np.float64]) -> float:
    """Pixels along the longest side of a symbol or region (corners 4 × 2)."""
    return float(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).max())
