"""A QR code graded in the manner of ISO/IEC 15415."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from label_templates.grade import advice, codewords, lattice, limits
from label_templates.grade.advice import Dots
from label_templates.grade.codewords import Block
from label_templates.grade.lattice import QUIET, Bits, Lattice
from label_templates.grade.place import Floats, Found, Grey, project
from label_templates.grade.result import NOTES, Grade, Parameter, held

STRAIGHT = 0.006
"""Opposite sides that differ by more tell of a camera that leans, and so changes width and height. PRACTICE."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """A QR code as seen: reflectance of each module with the quiet zone, 0 to 1, and the threshold between."""

    found: Found
    grid: Lattice
    light: Floats
    threshold: float
    contrast: float
    drawn: Bits | None
    """The symbol as it was printed, where it is one that our encoder draws."""

    @property
    def modules(self) -> Floats:
        return self.light[QUIET:-QUIET, QUIET:-QUIET]

    @property
    def blocks(self) -> tuple[Block, ...]:
        return codewords.blocks(self.found.version, self.found.level)

    def wrong(self, should: Bits) -> Bits:
        """Modules of another colour than they should have; those outside the picture too."""
        return np.asarray(~np.where(should, self.modules < self.threshold, self.modules >= self.threshold))

    def least(self, values: Floats | Bits) -> Floats:
        """The least of `values` (n × n) in each codeword."""
        owner = codewords.codeword_of(self.found.version, self.found.level)
        least = np.full(owner.max() + 1, np.inf)
        np.minimum.at(least, owner[owner >= 0], values[owner >= 0])
        return least

    def unused(self, kept: Bits) -> float:
        """Unused error correction of the worst block when only those codewords are `kept`."""
        return min(block.unused(int((~kept[block.codewords]).sum())) for block in self.blocks)


def grade_qr(image: Grey, found: Found, dots: Dots) -> Grade:
    """The grade of one QR code of `image` (8-bit grey)."""
    seen = _look(image, found)
    grid = seen.grid
    growth = max((lattice.growth(edges) for edges in grid.edges), key=abs)
    wide, tall, lean = lattice.sides(grid)
    pixels = round((wide + tall) / 2, 2)
    ink = advice.growth(growth, dots.amount(growth, pixels))
    shade = _uneven(seen)
    parameters = (
        held(limits.MATRIX["decode"], 1),
        held(limits.MATRIX["symbol contrast"], seen.contrast, advice=advice.CONTRAST),
        _modulation(seen, shade or ink or advice.SOFT),
        _fixed_patterns(seen, shade or advice.PATTERNS),
        _quiet_zone(seen),
        _axes(wide, tall, lean),
        held(limits.MATRIX["grid nonuniformity"], lattice.worst_shift(grid), advice=advice.GRID),
        _unused(seen, shade or advice.WORN),
        Parameter("print growth", round(growth, 3) + 0.0, "X", None, "", "told, not graded", ink),
    )
    number = min(one.grade for one in parameters if one.grade is not None)
    corners = tuple((float(x), float(y)) for x, y in _corners(grid))
    notes = (*NOTES, "The picture was not taken from straight above.") if lean > STRAIGHT else NOTES
    return Grade(found.text, "QR", number, limits.MATRIX_EDITION, parameters, corners, pixels, notes)


def _uneven(seen: _Seen) -> str:
    parts = [part for band in np.array_split(seen.modules, 3) for part in np.array_split(band, 3, axis=1)]
    return advice.uneven([float(np.nanmax(part)) for part in parts])


def _corners(grid: Lattice) -> Floats:
    n = grid.size
    return project(grid.matrix, np.array([(0, 0), (n, 0), (n, n), (0, n)], np.float64))


def _look(image: Grey, found: Found) -> _Seen:
    """The symbol under its grid. Another encoder may draw its text otherwise: then more is wrong than was borne."""
    grid = lattice.lay(image, found.corners, 17 + 4 * found.version)
    inside = grid.grey[QUIET:-QUIET, QUIET:-QUIET]
    white = float(np.nanmax(inside)) or 1.0
    drawn = codewords.drawn(found.data, found.version, found.level, found.mask)
    contrast = 1 - float(np.nanmin(inside)) / white
    seen = _Seen(found, grid, grid.grey / white, grid.threshold / white, contrast, drawn)
    if drawn is None:
        return seen
    right = seen.least(~seen.wrong(drawn)) == 1
    borne = all(2 * (~right[block.codewords]).sum() <= block.capacity for block in seen.blocks)
    return seen if borne else replace(seen, drawn=None)


def _unused(seen: _Seen, told: str) -> Parameter:
    """By the codewords seen wrong; of a symbol drawn by another encoder, as the stock decoder counts them."""
    unused = seen.found.unused if seen.drawn is None else seen.unused(seen.least(~seen.wrong(seen.drawn)) == 1)
    return held(limits.MATRIX["unused error correction"], unused, advice=told)


def _modulation(seen: _Seen, told: str) -> Parameter:
    """The modulation that codewords keep, those below it counted as wrong and borne by the error correction.

    MOD = 2·|R − GT| / SC for a module, 0 for one of the wrong colour; a codeword has the least of its modules'. That
    level is taken whose own grade and whose unused error correction are best together: RECALL ISO/IEC 15415.
    """
    module = 2 * np.abs(seen.modules - seen.threshold) / max(seen.contrast, 1e-9)
    wrong = np.isnan(module) if seen.drawn is None else seen.wrong(seen.drawn)
    kept = seen.least(np.where(wrong, 0, module))
    level, limit = limits.MATRIX["modulation"], limits.MATRIX["unused error correction"]

    def worth(value: float) -> float:
        return min(level.grade(value), limit.grade(seen.unused(kept >= value)))

    best = max(np.unique(kept), key=lambda value: (worth(value), value))
    return held(limits.MATRIX["modulation"], float(best), grade=worth(float(best)), advice=told)


def _fixed_patterns(seen: _Seen, told: str) -> Parameter:
    """The worst of finder patterns, timing and alignment patterns, or what their mean is worth if that is less."""
    version = seen.found.version
    wrong = seen.wrong(codewords.patterns(version))
    grades = [limits.FINDER.grade(float(wrong[part].sum())) for part in codewords.finders(version)]
    grades += [limits.TIMING.grade(float(line[8:-8].mean())) for line in (wrong[6], wrong[:, 6])]
    if parts := codewords.alignments(version):
        grades.append(limits.ALIGNMENT.grade(float(np.mean([wrong[part].any() for part in parts]))))
    together = limits.TOGETHER.grade(float(np.mean(grades)))
    return held(limits.MATRIX["fixed pattern damage"], min(*grades, together), advice=told)


def _quiet_zone(seen: _Seen) -> Parameter:
    margin: NDArray[np.bool_] = np.ones(seen.light.shape, bool)
    margin[QUIET:-QUIET, QUIET:-QUIET] = False
    wrong = margin & ~(seen.light >= seen.threshold)
    told = advice.quiet_square(int(wrong.sum()), int(np.isnan(seen.light[margin]).sum()))
    return held(limits.MATRIX["quiet zone"], float(wrong.sum()), advice=told)


def _axes(wide: float, tall: float, lean: float) -> Parameter:
    limit = limits.MATRIX["axial nonuniformity"]
    if lean > STRAIGHT:
        return Parameter(
            limit.name, None, "", None, str(limit), limit.source, f"width and height not judged: {advice.LEVEL}"
        )
    return held(limit, abs(wide - tall) / ((wide + tall) / 2), advice=advice.axes(wide, tall))
