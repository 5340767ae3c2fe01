"""Finder patterns of QR codes by their outlines, one in another in another, and the squares that two of them span.

What lies on a symbol often leaves two of its three finder patterns free. They say where the whole of it lies, which
the outline of what is still to be seen does not.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]
Floats = NDArray[np.float64]
_SIDE = 7
"""Modules along a finder pattern; within it lie 5 × 5 light ones, and 3 × 3 dark ones (ISO/IEC 18004, 6.3.3)."""
_RING, _CORE = (0.3, 0.75), (0.15, 0.65)
"""What the light square's area is of the whole's, 25/49, and the dark core's of the light square's, 9/25: roughly."""
_ASIDE = 0.12
"""How far apart the three middles may lie, as a share of the side."""
_LEAST = 10.0
"""Pixels along the smallest finder pattern."""
_LONGER = 2.0
"""How much longer than wide one may be: round a roll, or seen from the side, they do not say where the rest lies."""
_LARGER = 1.35
"""How much larger one of a pair may be."""
_ALONG, _ACROSS = 20, 25
"""Degrees from a finder pattern's sides: below which another lies along one of them, above which across the symbol."""
_ALIKE = 0.08
"""How far apart two squares' sides may lie, as a share of their size, and still be one."""
_LEAST_APART, _MOST_APART = 12.0, 40.0
"""Modules between the middles of two of one symbol: 14 in version 1, 38 in version 7, and what a slant takes."""
_DARK = 0.4
"""Where dark ends between the darkest and the lightest nearby: what touches a pattern is seldom as dark as ink."""
_GRAIN = 6
"""Levels that dark must be darker still: what has no more contrast is grain."""
_COARSE = 4
"""Pixels a side that are taken as one to see how light it is nearby."""
_LONGEST = 1600
"""Pixels; a larger picture is looked at smaller."""
_MOST = 12
"""Finder patterns that are paired, the largest."""


@dataclass(frozen=True, slots=True)
class Finder:
    """A finder pattern: its middle, in pixels, and two of its sides as vectors, the second clockwise from the first."""

    middle: Floats
    across: Floats
    down: Floats

    def module(self) -> float:
        """Pixels of a module."""
        return float(np.sqrt(abs(np.linalg.det(np.stack([self.across, self.down]))))) / _SIDE


def finders(grey: Grey) -> list[Finder]:
    """The finder patterns in an 8-bit grey picture, the largest first."""
    shrink = -(-max(grey.shape) // _LONGEST)
    if shrink > 1:
        grey = cv2.resize(grey, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
    outlines, tree = cv2.findContours(_dark(grey), cv2.RETR_TREE, cv2.CHAIN_APPROX_SIMPLE)
    if tree is None:
        return []
    inside = tree[0, :, 2]
    nested = np.flatnonzero((inside >= 0) & (inside[inside] >= 0)).tolist()
    seen = (_finder(outlines[outer], outlines[inside[outer]], outlines[inside[inside[outer]]]) for outer in nested)
    found = [Finder(one.middle * shrink, one.across * shrink, one.down * shrink) for one in seen if one]
    return sorted(found, key=lambda one: -one.module())[:_MOST]


def _dark(grey: Grey) -> Grey:
    """What is dark beside what is near it."""
    tall, wide = grey.shape
    small = cv2.resize(grey, (max(1, wide // _COARSE), max(1, tall // _COARSE)), interpolation=cv2.INTER_AREA)
    side = max(3, min(small.shape) // 6) | 1
    near = np.ones((side, side), np.uint8)
    levels = (cv2.blur(part, (side, side)) for part in (cv2.erode(small, near), cv2.dilate(small, near)))
    darkest, lightest = (cv2.resize(part, (wide, tall)) for part in levels)
    least = cv2.addWeighted(lightest, _DARK, darkest, 1 - _DARK, -_GRAIN)
    return cv2.compare(cv2.blur(grey, (3, 3)), least, cv2.CMP_LT)


def _finder(outer: NDArray[np.int32], hole: NDArray[np.int32], core: NDArray[np.int32]) -> Finder | None:
    if len(outer) < 4:
        return None
    whole = cv2.minAreaRect(outer)
    middle, (one, other), _ = whole
    if min(one, other) + 1 < _LEAST or max(one, other) > _LONGER * min(one, other):
        return None
    # an outline runs through the middles of its pixels; a hole's through those around it
    outside, light, inside = (
        cv2.contourArea(part) + sign * 0.5 * cv2.arcLength(part, closed=True)
        for part, sign in ((outer, 1), (hole, -1), (core, 1))
    )
    if not (_RING[0] < light / outside < _RING[1] and _CORE[0] < inside / max(light, 1) < _CORE[1]):
        return None
    middles = np.array([middle, cv2.minAreaRect(hole)[0], cv2.minAreaRect(core)[0]])
    if np.ptp(middles, axis=0).max() > _ASIDE * max(one, other) + 1:
        return None
    corners = cv2.boxPoints(whole).astype(float)
    sides = np.stack([corners[1] - corners[0], corners[2] - corners[1]])
    sides *= np.sqrt(outside / abs(np.linalg.det(sides)))
    return Finder(middles[[0, 2]].mean(axis=0) + 0.5, sides[0], sides[1])


def squares_of(found: list[Finder]) -> list[Floats]:
    """Corners (4 × 2, pixels) of symbols that finder patterns may belong to, those first that most pairs speak for.

    One that has no other is taken for a corner of a version 1.
    """
    spanned: list[Floats] = []
    alone = set(range(len(found)))
    for (i, one), (j, other) in itertools.combinations(enumerate(found), 2):
        pair = list(_spanned(one, other))
        spanned += pair
        alone -= {i, j} if pair else set()
    for i in alone:
        spanned += _cornered(found[i])
    if not spanned:
        return []
    votes = alike(np.array(spanned)[:, None], np.array(spanned)).sum(axis=1)
    return [spanned[place] for place in np.argsort(-votes, kind="stable")]


def alike(square: Floats, other: Floats) -> NDArray[np.bool_]:
    """Whether squares (… × 4 × 2, corners in any turn) lie nearly alike."""
    apart = np.abs(np.sort(square, axis=-2) - np.sort(other, axis=-2)).max(axis=(-2, -1))
    return np.asarray(apart <= _ALIKE * np.ptp(square, axis=(-2, -1)))


def _spanned(one: Finder, other: Finder) -> Iterator[Floats]:
    """The squares that have two finder patterns in two of their corners."""
    small, large = sorted((one.module(), other.module()))
    step = other.middle - one.middle
    apart = float(np.linalg.norm(step)) / (small + large) * 2
    if large > _LARGER * small:
        return
    along = float(np.abs(one.across @ step) / (np.linalg.norm(one.across) * np.linalg.norm(step) + 1e-9))
    slant = np.rad2deg(np.arccos(min(1.0, along)))
    slant = min(slant, 90 - slant)
    aside = np.array([-step[1], step[0]])
    if slant < _ALONG and _LEAST_APART < apart < _MOST_APART:
        low, high = (one.middle - step / apart * _SIDE / 2, other.middle + step / apart * _SIDE / 2)
        edge = aside / apart * _SIDE / 2
        for way in (1, -1):
            near, far = -way * edge, way * (aside + edge)
            yield np.array([low + near, high + near, high + far, low + far])[::way]
    elif slant > _ACROSS and _LEAST_APART < apart / 2**0.5 < _MOST_APART:
        reach = 0.5 + _SIDE / 2 * 2**0.5 / apart
        middle, half, turned = (one.middle + other.middle) / 2, step * reach, aside * reach
        yield np.array([middle - half, middle - turned, middle + half, middle + turned])


def _cornered(one: Finder) -> Iterator[Floats]:
    """The four squares of version 1 that have a finder pattern in a corner."""
    x, y = 1.5 * one.across, 1.5 * one.down
    for right, low in itertools.product((1, -1), (1, -1)):
        middle = one.middle + right * one.across + low * one.down
        yield np.array([middle - x - y, middle + x - y, middle + x + y, middle - x + y])
