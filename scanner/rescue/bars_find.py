"""Where a picture has bars: connected patches of dense gradients that all point one way."""

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
Floats = NDArray[np.float32]
_CELL = 8
"""Pixels a side of the cells in which gradients are summed up."""
_LONGEST = 1600
"""Pixels; a larger picture is looked at smaller."""
_TURNS = 8
"""Overlapping ranges of direction, each 2/8 of a half turn, in which patches are gathered."""
_COHERENT = 0.3
_ABOVE_GRAIN = 0.3
"""Directed energy in units of the picture's grain: noise alone reaches 0.2 where 5 × 5 cells are taken together."""
_MOST = 8
"""Regions given back at most."""
_LEAST_LONG, _LEAST_TALL = 44.0, 10.0
"""Pixels along and across a patch below which it cannot be read."""


def find(grey: Image) -> list[NDArray[np.float64]]:
    """Regions of an 8-bit grey picture that may hold a bar code, the most likely first.

    Corners are 4 × 2, pixels of the picture, clockwise from the top left of bars that stand upright: which end
    is the symbol's first is not known. The quiet zones are inside.
    """
    shrink = max(1, -(-max(grey.shape) // _LONGEST))
    if shrink > 1:
        grey = cv2.resize(grey, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
    found: list[tuple[float, NDArray[np.float64]]] = []
    for halved in (1, 2):
        if halved == 2:
            grey = cv2.resize(grey, (grey.shape[1] // 2, grey.shape[0] // 2), interpolation=cv2.INTER_AREA)
        if min(grey.shape) < 3 * _CELL:
            break
        found += [(likely, corners * shrink * halved) for likely, corners in _patches(*_tensor(grey))]
    found.sort(key=lambda one: -one[0])
    return _apart([corners for _, corners in found[: 3 * _MOST]])[:_MOST]


def _tensor(grey: Image) -> tuple[Floats, Floats, Floats]:
    """Energy, and the two parts of the doubled direction, of the gradients in each cell.

    Differences across the two diagonals of pixels share no pixel, so noise has no direction; every other row speaks.
    """
    tall, wide = (side // _CELL * _CELL for side in grey.shape)
    rows, below = grey[:tall:2, :wide].astype(np.float32), grey[1:tall:2, :wide].astype(np.float32)
    falling, rising = np.zeros_like(rows), np.zeros_like(rows)
    np.subtract(below[:, 1:], rows[:, :-1], out=falling[:, :-1])
    np.subtract(below[:, :-1], rows[:, 1:], out=rising[:, :-1])
    ones = np.full(_CELL, 2 / _CELL**2, np.float32)

    def mean(product: Floats) -> Floats:
        lines = product.reshape(-1, wide // _CELL, _CELL) @ ones
        return np.asarray(lines.reshape(tall // _CELL, _CELL // 2, -1).sum(1))

    one, other, both = mean(falling * falling), mean(rising * rising), mean(falling * rising)
    return (one + other) / 2, -both, (one - other) / 2


def _patches(energy: Floats, even: Floats, odd: Floats) -> list[tuple[float, NDArray[np.float64]]]:
    """(how likely, corners) of each patch of cells with one direction, in pixels of the picture they were made of."""
    energy, even, odd = (cv2.blur(part, (5, 5)) for part in (energy, even, odd))
    grain = np.partition(energy.ravel(), energy.size // 10)[energy.size // 10]
    strength = np.hypot(even, odd)
    seen = (strength > _COHERENT * np.maximum(energy - grain, 0)) & (strength > _ABOVE_GRAIN * grain + 0.05)
    seen &= strength > 0.12 * cv2.dilate(strength, np.ones((5, 5), np.uint8))
    if not seen.any():
        return []
    turn = np.floor(np.arctan2(odd, even) * (_TURNS / (2 * np.pi))).astype(np.int32) % _TURNS
    found = []
    for way in range(_TURNS):
        inside = (seen & ((turn == way) | (turn == (way + 1) % _TURNS))).astype(np.uint8)
        if cv2.countNonZero(inside) < 6:
            continue
        count, marks, sizes, _ = cv2.connectedComponentsWithStats(inside, connectivity=4)
        for mark in range(1, count):
            if sizes[mark, cv2.CC_STAT_AREA] >= 6:
                x, y, wide, tall = sizes[mark, :4]
                box = np.s_[y : y + tall, x : x + wide]
                v, u = np.nonzero(marks[box] == mark)
                patch = _patch(u + x, v + y, *(part[box][v, u] for part in (strength, even, odd)))
                if patch:
                    found.append(patch)
    return found


def _patch(
    u: NDArray[np.int64], v: NDArray[np.int64], strength: Floats, even: Floats, odd: Floats
) -> tuple[float, NDArray[np.float64]] | None:
    angle = 0.5 * np.arctan2(odd.sum(), even.sum())
    if angle < -np.pi / 4:
        angle += np.pi
    along, down = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    places = (np.stack([u, v], 1) + 0.5) * _CELL
    x, y = places @ along, places @ down
    left, right = x.min() - _CELL / 2, x.max() + _CELL / 2
    top, bottom = y.min() + _CELL / 2, y.max() - _CELL / 2
    wide, tall = right - left, bottom - top
    if wide < _LEAST_LONG or tall < _LEAST_TALL:
        return None
    likely = float(np.sqrt(np.sqrt(strength.mean())) * min(wide, 8 * tall) * u.size * _CELL**2 / (wide * tall + 1))
    spare = 0.08 * wide + 8
    ends = [(left - spare, top), (right + spare, top), (right + spare, bottom), (left - spare, bottom)]
    return likely, np.array([a * along + b * down for a, b in ends])


def _apart(regions: list[NDArray[np.float64]]) -> list[NDArray[np.float64]]:
    """The regions without those that lie for the most part in one before them."""
    kept: list[NDArray[np.float64]] = []
    for region in regions:
        shape = region.astype(np.float32)
        size = cv2.contourArea(shape)
        if all(cv2.intersectConvexConvex(shape, one.astype(np.float32))[0] < 0.7 * size for one in kept):
            kept.append(region)
    return kept
