"""Laying a QR code's grid over a picture by the patterns every code has: in perspective, round a roll, crinkled."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from scanner.rescue.qr_layout import known

Floats = NDArray[np.float64]
QUIET = 2
"""Modules of quiet zone that the fit looks at."""
_FINE = 2
"""Points looked at across a module."""
_KNOTS = 9
"""Points across a grid where crinkled wrap may move it, each by itself."""
_LEAST_ARC = 0.3
"""Half the arc, in radians, of the flattest roll: a flatter one is a plane."""
_FACED = 0.35
"""The share of its full width below which a module tells nothing about where the grid lies."""
_STIFF = 1.0
"""How strongly neighbouring knots pull each other, against one point of the picture."""
_FINDER = 8
"""Modules along a finder pattern and the light line beside it."""
_WELL, _BADLY = 0.85, 0.6
"""Agreement of a finder pattern that is seen, above; and of one that something lies on, below.

Of the made corpus' codes on a roll or in perspective none is seen well where a flat grid puts it; of crinkled ones
hardly any is seen badly."""
_ROUNDS = 5
"""Steps of a fit at most."""
_FREE = 1e-3 * np.eye(9)
_SQUARE_ON = _FREE + np.diag([0.0] * 6 + [1e4, 1e4] + [0.0])
"""How strongly each way to move a plane is held back, against one point; and one held square to the camera."""
_NEARBY = 7
"""Points, looked at along each side, that are hidden together or seen together."""
_USUAL, _HIDDEN = 30, 3.0
"""The percentile of what is left around points that is taken for usual, and how many times that is a place hidden."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Where a code's modules lie, `size` × `size` of them.

    `plane` is a homography (3 × 3) from the square -1 … 1 to pixels; `arc` the half arc of a roll in radians (0: flat),
    bent along the rows (`axis` 0) or the columns (1); `moves` the knots' moves (knots × knots × 2, pixels).
    """

    plane: Floats
    size: int
    arc: float = 0.0
    axis: int = 0
    moves: Floats | None = None

    def pixels(self, modules: Floats) -> Floats:
        """Points in modules (… × 2; 0, 0 is the top left corner) → pixels."""
        flat = np.asarray(modules, float) * 2 / self.size - 1
        if self.arc:
            flat[..., self.axis] = np.sin(flat[..., self.axis] * self.arc) / np.sin(self.arc)
        found = _through(self.plane, flat)
        if self.moves is not None:
            found += np.tensordot(_weights(modules, self.size), self.moves.reshape(-1, 2), 1)
        return found

    def modules(self, pixels: Floats) -> Floats:
        """Points in pixels (… × 2) → modules."""
        back = np.linalg.inv(self.plane)
        found = self._flat_to_modules(_through(back, pixels))
        if self.moves is not None:
            for _ in range(2):
                moved = np.tensordot(_weights(found, self.size), self.moves.reshape(-1, 2), 1)
                found = self._flat_to_modules(_through(back, pixels - moved))
        return found

    def _flat_to_modules(self, flat: Floats) -> Floats:
        if self.arc:
            flat = flat.copy()
            edge = np.sin(self.arc)
            inside = np.clip(flat[..., self.axis] * edge, -1, 1)
            beyond = flat[..., self.axis] * edge - inside
            flat[..., self.axis] = np.arcsin(inside) / self.arc + beyond * 9
        return (flat + 1) * self.size / 2

    def corners(self) -> Floats:
        n = float(self.size)
        return self.pixels(np.array([(0, 0), (n, 0), (n, n), (0, n)]))

    def module_pixels(self) -> float:
        """The side of a module in the middle, in pixels."""
        middle = self.size / 2
        a, b, c = self.pixels(np.array([(middle, middle), (middle + 1, middle), (middle, middle + 1)]))
        return float(np.sqrt(abs((b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0])))


def over(corners: Floats, size: int, arc: float = 0.0, axis: int = 0) -> Grid:
    """The grid whose corners (4 × 2, clockwise from the top left) are these."""
    square = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], np.float32)
    return Grid(cv2.getPerspectiveTransform(square, corners.astype(np.float32)), size, arc, axis)


def _through(plane: Floats, points: Floats) -> Floats:
    found = points @ plane[:, :2].T + plane[:, 2]
    return found[..., :2] / found[..., 2:]


def _weights(modules: Floats, size: int) -> Floats:
    """For each point, the share of each knot in it (… × knots²), by straight lines between knots."""
    at = np.clip(modules / size, 0, 1) * (_KNOTS - 1)
    near = np.maximum(0, 1 - np.abs(at[..., None] - np.arange(_KNOTS)))
    return (near[..., 1, :, None] * near[..., 0, None, :]).reshape(*modules.shape[:-1], -1)


@lru_cache
def targets(version: int, blur: float) -> tuple[Floats, Floats]:
    """Points to look at (k × 2, modules) and the darkness expected there (-1 … 1), blurred by `blur` modules."""
    grid = np.pad(known(version), QUIET, constant_values=-1)
    return _points(grid, blur)


def _points(grid: NDArray[np.int8], blur: float) -> tuple[Floats, Floats]:
    fine = np.kron(grid, np.ones((_FINE, _FINE))).astype(np.float32)
    sure = (fine != 0).astype(np.float32)
    if blur:
        fine, sure = (
            cv2.GaussianBlur(part, (0, 0), blur * _FINE, borderType=cv2.BORDER_REPLICATE) for part in (fine, sure)
        )
    rows, columns = np.nonzero((sure > 0.8) & (np.kron(grid, np.ones((_FINE, _FINE))) != 0))
    at = (np.stack([columns, rows], axis=1) + 0.5) / _FINE - QUIET
    return at, fine[rows, columns].astype(float)


def looked(picture: NDArray[np.float32], at: Floats) -> Floats:
    """The picture at points (k × 2, pixels), by straight lines between pixels' middles."""
    x, y = (at[:, None, axis].astype(np.float32) - 0.5 for axis in (0, 1))
    return cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[:, 0].astype(float)


def agreement(picture: NDArray[np.float32], grid: Grid, blur: float, every: int = 1) -> float:
    """How well the patterns every code has are seen where `grid` puts them: a correlation; `every` thins the points."""
    at, want = (part[::every] for part in targets((grid.size - 17) // 4, blur))
    faced = _faced(at, grid)
    return _like(looked(picture, grid.pixels(at[faced])), want[faced])


def _like(got: Floats, want: Floats) -> float:
    got, want = got - got.mean(), want - want.mean()
    return float(-(got @ want) / np.sqrt(max(got @ got, 1e-9) * (want @ want)))


def partly_hidden(picture: NDArray[np.float32], grid: Grid, blur: float) -> bool:
    """Whether one finder pattern is seen well where `grid` puts it, and another is not."""
    at, want = targets((grid.size - 17) // 4, blur)
    got, far = looked(picture, grid.pixels(at)), grid.size - _FINDER
    right, low = at[:, 0] > far, at[:, 1] > far
    left, high = at[:, 0] < _FINDER, at[:, 1] < _FINDER
    seen = [_like(got[part], want[part]) for part in (left & high, right & high, left & low)]
    return max(seen) > _WELL and min(seen) < _BADLY


def fitted(picture: NDArray[np.float32], grid: Grid, blur: float, *, covered: bool = False) -> Grid:
    """The grid moved, and its roll bent, until the known patterns lie best: Lucas and Kanade's way, robust weights.

    `picture` is bright on paper and blurred by `blur` modules. Of a symbol that may be `covered` in part, places that
    look like none of the patterns hardly count, and it is held square to the camera: nothing shows where a hidden
    corner lies.
    """
    every, wanted = targets((grid.size - 17) // 4, blur)
    slopes = _slopes(picture)
    for _ in range(_ROUNDS):
        faced = _faced(every, grid)
        at, want = every[faced], wanted[faced]
        flat, more = _rolled(at * 2 / grid.size - 1, grid)
        homogeneous = np.column_stack([flat, np.ones(len(flat))])
        pixels = grid.pixels(at)
        got, x_slope, y_slope = (looked(part, pixels) for part in (picture, *slopes))
        depth = (homogeneous @ grid.plane[2])[:, None]
        base = homogeneous / depth
        there = _through(grid.plane, flat)
        x_ways, y_ways = x_slope[:, None] * base, y_slope[:, None] * base
        last = -(there[:, :1] * x_ways + there[:, 1:] * y_ways)[:, :2]
        aside = (grid.plane[:2, grid.axis] - there * grid.plane[2, grid.axis]) / depth
        bent = (x_slope * aside[:, 0] + y_slope * aside[:, 1]) * more
        rest = (_SQUARE_ON if covered else _FREE), np.append(np.zeros(6), [*grid.plane[2, :2], 0.0])
        step = _solved(np.column_stack([x_ways, y_ways, last, bent]), want, got, rest, at if covered else None)
        change = np.append(step[:8], 0.0).reshape(3, 3)
        arc = float(np.clip(grid.arc + np.clip(step[8], -0.1, 0.1), _LEAST_ARC, np.pi / 2)) if grid.arc else 0.0
        grid = replace(grid, plane=grid.plane + change, arc=arc)
        moved = np.abs(grid.pixels(at[::17]) - pixels[::17]).max()
        if not np.isfinite(moved) or moved < 0.05:
            break
    return grid


def _faced(at: Floats, grid: Grid) -> NDArray[np.bool_]:
    """Which points (k × 2, modules) a roll does not turn so far aside that a lens blurs them into each other."""
    return np.cos((at[:, grid.axis] * 2 / grid.size - 1) * grid.arc) > _FACED


def _rolled(flat: Floats, grid: Grid) -> tuple[Floats, Floats]:
    """Points of the square -1 … 1 (k × 2) as seen round the roll, and how far aside more of an arc moves each."""
    arc, axis = grid.arc, grid.axis
    if not arc:
        return flat, np.zeros(len(flat))
    turn = np.clip(flat[:, axis] * arc, -1.5, 1.5)
    seen = flat.copy()
    seen[:, axis] = np.sin(turn) / np.sin(arc)
    return seen, (turn / arc * np.cos(turn) - seen[:, axis] * np.cos(arc)) / np.sin(arc)


def crinkled(
    picture: NDArray[np.float32], grid: Grid, believed: NDArray[np.int8], blur: float, rounds: int
) -> Iterator[Grid]:
    """The grid, round by round, with its knots moved so that the modules `believed` lie best.

    `believed` is n × n: 1 dark, -1 light, 0 doubtful.
    """
    at, want = _points(np.pad(believed, QUIET, constant_values=-1), blur)
    weights = _weights(at, grid.size)
    smooth = replace(grid, moves=None).pixels(at)
    moves = np.zeros((_KNOTS * _KNOTS, 2)) if grid.moves is None else grid.moves.reshape(-1, 2)
    slopes = _slopes(picture)
    stiff = _bending() * _STIFF
    for _ in range(rounds):
        pixels = smooth + weights @ moves
        got, x_slope, y_slope = (looked(part, pixels) for part in (picture, *slopes))
        ways = np.hstack([weights * x_slope[:, None], weights * y_slope[:, None]])
        step = _solved(ways, want, got, (stiff, np.concatenate([moves[:, 0], moves[:, 1]])))
        half = len(step) // 2
        moves = moves + np.column_stack([step[:half], step[half:]])
        yield replace(grid, moves=moves.reshape(_KNOTS, _KNOTS, 2))
        if np.abs(step).max() < 0.02:
            break


@lru_cache
def _bending() -> Floats:
    """A matrix (2·knots² square) that costs a knot what it moves away from its neighbours."""
    count = _KNOTS * _KNOTS
    pull = np.zeros((count, count))
    for row in range(_KNOTS):
        for column in range(_KNOTS):
            here = row * _KNOTS + column
            for other in ([here + 1] if column + 1 < _KNOTS else []) + ([here + _KNOTS] if row + 1 < _KNOTS else []):
                pull[[here, other], [here, other]] += 1
                pull[here, other] -= 1
                pull[other, here] -= 1
    pull += 0.05 * np.eye(count)
    return np.kron(np.eye(2), pull)


def _slopes(picture: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    kernel = np.array([[-0.5, 0, 0.5]], np.float32)
    return cv2.filter2D(picture, -1, kernel), cv2.filter2D(picture, -1, kernel.T)


def _solved(ways: Floats, want: Floats, got: Floats, rest: tuple[Floats, Floats], at: Floats | None = None) -> Floats:
    """The step that brings `got` nearest to a straight line of `want`: points far off count less (Tukey's weights).

    `rest` is how strongly each way is pulled towards nothing (ways × ways), and what there is of each now. With the
    points' places `at` (k × 2, modules), those count less whose neighbours are off as well: something lies on them.
    """
    share = np.ones_like(want)
    for _ in range(2):
        middle, level = share @ want / share.sum(), share @ got / share.sum()
        gain = share @ ((middle - want) * (got - level)) / max(share @ (want - middle) ** 2, 1e-9)
        off = got - level + gain * (want - middle)
        spread = 1.5 * np.median(np.abs(off[::3])) + 1e-6
        share = np.maximum(0, 1 - (off / (4.7 * spread)) ** 2)
        if at is not None:
            share *= _uncovered(off, at)
    share = np.sqrt(share)
    gain = max(gain, 1e-3)
    weighted = ways * share[:, None] / gain
    stiff, now = rest
    return np.linalg.solve(weighted.T @ weighted + stiff, weighted.T @ (-off * share / gain) - stiff @ now)


def _uncovered(off: Floats, at: Floats) -> Floats:
    """For points (k × 2, modules) that are so far off, 1 to 0: little where all around is far off."""
    column, row = np.rint((at + QUIET) * _FINE - 0.5).astype(int).T
    total, count = np.zeros((2, row.max() + 1, column.max() + 1))
    total[row, column], count[row, column] = off * off, 1
    near = (_around(total) / np.maximum(_around(count), 1e-9))[row, column]
    return 1 / (1 + (near / (_HIDDEN * np.percentile(near, _USUAL) + 1e-3)) ** 2)


def _around(part: Floats) -> Floats:
    return cv2.blur(part, (_NEARBY, _NEARBY), borderType=cv2.BORDER_CONSTANT)
