"""The grid of a QR code laid over its picture by the edges of its modules, and how far they stand from it.

Places in the symbol are (u, v) in modules from its top left corner, u to the right, v down.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from label_templates.grade.place import Floats, Grey, homography, project, sample

Bits = NDArray[np.bool_]
QUIET = 4
_FINE = (8, 32)
"""Fewest and most samples a module along a profile: about two a pixel."""
_REACH = 0.75
"""Modules to each side of where an edge should be in which it is looked for."""
_APERTURE = 0.8
"""Diameter of the spot a module is measured with, in modules. RECALL ISO/IEC 15415."""
_STEPS = np.linspace(-1, 1, 7) * _APERTURE / 2
_SPOT = np.array([(u, v) for u in _STEPS for v in _STEPS if np.hypot(u, v) <= _APERTURE / 2 + 1e-9])
_ROUNDS = 2


@dataclass(frozen=True, slots=True)
class Edges:
    """Edges between modules of one axis: their row, their boundary (0 to n), +1 dark to light or -1, their shift."""

    row: NDArray[np.intp]
    boundary: NDArray[np.intp]
    polarity: Floats
    shift: Floats
    """Modules by which the edge stands further along the row than the grid says; NaN where none was seen."""


@dataclass(frozen=True, slots=True)
class Lattice:
    """A grid of n × n modules in a picture. `matrix` takes (u, v) to pixels; `edges` are of rows and columns."""

    size: int
    matrix: Floats
    grey: Floats
    """(n + 8) × (n + 8) grey levels with the quiet zone, NaN outside the picture."""
    threshold: float
    edges: tuple[Edges, Edges]

    @property
    def dark(self) -> Bits:
        """The modules seen dark, n × n."""
        return np.asarray(self.grey[QUIET:-QUIET, QUIET:-QUIET] < self.threshold)


def lay(image: Grey, corners: Floats, size: int) -> Lattice:
    """The grid of a symbol of size × size modules, from the decoder's corners (4 × 2), then from all its edges."""
    plane = np.array([(0, 0), (size, 0), (size, size), (0, size)], np.float64)
    matrix = homography(plane, corners)
    for _ in range(_ROUNDS):
        found = _look(image, matrix, size)
        matrix = matrix @ _correction(found)
    return _look(image, matrix, size)


def _look(image: Grey, matrix: Floats, size: int) -> Lattice:
    middles = np.arange(-QUIET, size + QUIET) + 0.5
    v, u = np.meshgrid(middles, middles, indexing="ij")
    spots = np.stack([u, v], axis=-1)[:, :, None, :] + _SPOT
    grey = sample(image, project(matrix, spots)).mean(axis=-1)
    inside = grey[QUIET:-QUIET, QUIET:-QUIET]
    threshold = float(np.nanmax(inside) + np.nanmin(inside)) / 2
    dark = inside < threshold
    pixels = float(np.linalg.norm(np.diff(project(matrix, np.array([(0.0, 0.0), (size, size)])), axis=0))) / size
    fine = int(np.clip(1.5 * pixels, *_FINE))
    rows, columns = (_edges(_profiles(image, matrix, size, axis, fine), turned, threshold, fine) for axis, turned in
                     ((0, dark), (1, dark.T)))  # fmt: skip
    return Lattice(size, matrix, grey, threshold, (rows, columns))


def _profiles(image: Grey, matrix: Floats, size: int, axis: int, fine: int) -> Floats:
    """Grey along the middle half of each row (axis 0) or column (1), a module further each way, n × samples."""
    along = np.arange(-fine, (size + 1) * fine + 1) / fine
    across = np.arange(size)[:, None] + np.array([0.25, 0.5, 0.75])
    u, v = np.broadcast_arrays(along, across[..., None])
    points = np.stack([u, v] if axis == 0 else [v, u], axis=-1)
    return np.asarray(sample(image, project(matrix, points)).mean(axis=1))


def _edges(profiles: Floats, dark: Bits, threshold: float, fine: int) -> Edges:
    padded = np.pad(dark, ((0, 0), (1, 1))).astype(int)
    change = np.diff(padded, axis=1)
    row, boundary = np.nonzero(change)
    polarity = -change[row, boundary].astype(np.float64)
    reach = int(_REACH * fine)
    window = (boundary + 1)[:, None] * fine + np.arange(-reach, reach + 1)
    level = (profiles[row[:, None], window] - threshold) * polarity[:, None]
    first, second = level[:, :-1], level[:, 1:]
    crosses = (first < 0) & (second >= 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        place = np.where(crosses, np.arange(-reach, reach) + first / (first - second), np.inf)
    nearest = np.take_along_axis(place, np.abs(place).argmin(axis=1)[:, None], axis=1)[:, 0]
    return Edges(row, boundary, polarity, np.where(np.isfinite(nearest), nearest / fine, np.nan))


def _correction(found: Lattice) -> Floats:
    """The homography of the symbol's plane that takes the grid's edges to where they were seen, growth apart."""
    rows, columns = found.edges
    parts = [_equations(rows.boundary, rows.row + 0.5, rows.polarity, axis=0),
             _equations(columns.row + 0.5, columns.boundary, columns.polarity, axis=1)]  # fmt: skip
    system, shift = np.concatenate(parts), np.concatenate([rows.shift, columns.shift])
    kept = np.isfinite(shift)
    answer = np.zeros(10)
    for _ in range(3):
        answer = np.linalg.lstsq(system[kept], shift[kept], rcond=None)[0]
        off = np.abs(system @ answer - shift)
        kept = off <= max(3 * float(np.nanmedian(off)), 0.05)
    a0, a1, a2, a3, a4, a5, a6, a7 = answer[:8]
    return np.array([[1 + a1, a2, a0], [a4, 1 + a5, a3], [-a6, -a7, 1]])


def _equations(u: NDArray[np.generic], v: NDArray[np.generic], polarity: Floats, *, axis: int) -> Floats:
    """One row an edge: how its shift hangs on the eight changes of the homography and on the growth of each axis."""
    own = np.stack([np.ones(len(polarity)), np.asarray(u, float), np.asarray(v, float)], axis=1)
    none = np.zeros((len(polarity), 3))
    here = np.asarray((u, v)[axis], float)
    bend = np.stack([here * u, here * v], axis=1)
    grown = np.zeros((len(polarity), 2))
    grown[:, axis] = polarity / 2
    return np.hstack([own, none, bend, grown] if axis == 0 else [none, own, bend, grown])


def growth(edges: Edges) -> float:
    """By how much of a module dark runs are wider than they should be, their median."""
    first = np.nonzero((edges.row[1:] == edges.row[:-1]) & (edges.polarity[:-1] < 0))[0]
    return float(np.nanmedian(edges.shift[first + 1] - edges.shift[first]))


def worst_shift(lattice: Lattice) -> float:
    """The furthest any module stands from its place, in modules: by the middles of the runs it lies in, both ways."""
    rows, columns = (_shifts(edges, lattice.size) for edges in lattice.edges)
    return float(np.hypot(rows, columns.T).max())


def _shifts(edges: Edges, size: int) -> Floats:
    """For each module the shift of the middle of its run, in which growth cancels; 0 where that was not seen."""
    keys = edges.row * (size + 1) + edges.boundary
    row, column = np.divmod(np.arange(size * size), size)
    left = np.searchsorted(keys, row * (size + 1) + column, side="right") - 1
    right = np.minimum(left + 1, len(keys) - 1)
    whole = (left >= 0) & (edges.row[left] == row) & (edges.row[right] == row) & (right > left)
    middle = (edges.shift[left] + edges.shift[right]) / 2
    return np.nan_to_num(np.where(whole, middle, 0)).reshape(size, size)


def sides(lattice: Lattice) -> tuple[float, float, float]:
    """Pixels a module is wide and tall, and by how much opposite sides differ: 0 seen from straight above."""
    n = lattice.size
    corners = project(lattice.matrix, np.array([(0, 0), (n, 0), (n, n), (0, n)], np.float64))
    top, right, low, left = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1) / n
    lean = max(abs(top - low) / (top + low), abs(left - right) / (left + right)) * 2
    return (top + low) / 2, (left + right) / 2, lean
