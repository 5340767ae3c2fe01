"""Squares: finding QR codes that stock readers give up on, and reading them module by module."""

import itertools
from collections.abc import Generator, Iterator
from typing import NamedTuple

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from scanner.rescue import qr_soft
from scanner.rescue.finders import alike, finders, squares_of
from scanner.rescue.qr_fit import Floats, Grid, agreement, crinkled, fitted, looked, over, partly_hidden
from scanner.rescue.qr_layout import LEVEL_Q, format_bits, formats, known, mask, path
from scanner.rescue.reading import Going, Reading, in_time

Grey = NDArray[np.uint8]
_SCALES, _LARGE = (1.0, 0.5, 0.25), 640
"""Scales to look for regions at; a picture with a longer side than so many pixels is made so small first."""
_WORKING = 4.0
"""Pixels of a module to work with: more cost time and show nothing new."""
_ARCS = (0.9, 1.2, 1.4, 1.54)
"""Half arcs of rolls, in radians, that a fit begins from."""


class _Kind(NamedTuple):
    """What is tried: versions and half arcs; how many grids at most, and the least agreement each must begin with."""

    versions: tuple[int, ...]
    arcs: tuple[float, ...]
    most: int
    hopeful: float
    more_if_covered: int = 0
    """How many grids more, of symbols on which something seems to lie: what is left fits in more than one turn."""


_KINDS = (
    _Kind((1,), (0.0,), 2, 0.45, more_if_covered=1),
    _Kind((1,), _ARCS, 4, 0.6),
    _Kind((1, 2, 3, 4, 5, 6, 7), (0.0,), 8, 0.25),
)
"""What is tried in turn. Our own codes are version 1."""
_FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2,)
_OF_A_KIND = 8
_SIDE = 14
"""Pixels of the least side of a region, at the scale it is found at."""
_LEAST = 0.8
"""Pixels of the smallest module that is looked for."""
_CRINKLED, _ROUNDS = 2, 3
"""Grids tried as crinkled, and how often each is bent anew."""
_FROM_THE_SIDE = 0.28
"""The share of a module's full width below which it is not believed: about a pixel."""
_PROMISING, _SURE = 0.5, 0.75
"""Agreement with the known patterns: least to read a grid once it is settled, and enough to be sure."""


def find(grey: Grey) -> Iterator[Floats]:
    """Regions that may hold a QR code, best first: corners 4 × 2 in pixels, in any turn."""
    kept: list[Floats] = []
    for corners in itertools.chain(squares_of(finders(grey)), _outlined(grey)):
        if not any(alike(corners, other) for other in kept):
            kept.append(corners)
            yield corners


def _outlined(grey: Grey) -> Iterator[Floats]:
    """The outlines of busy places, best first."""
    found: list[tuple[float, Floats]] = []
    most = _LARGE / max(grey.shape)
    for scale in [most, most / 2] if most < 1 else _SCALES:
        small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey
        if min(small.shape) < 12:
            break
        found += [(worth, (corners + 0.5) / scale) for worth, corners in _busy(small)]
    found.sort(key=lambda one: -one[0])
    yield from (corners for _, corners in found)


def _busy(small: Grey) -> Iterator[tuple[float, Floats]]:
    """Squarish places where light and dark change all over: how square and full each is, and its rectangle."""
    soft = cv2.GaussianBlur(small, (3, 3), 0)
    change = cv2.morphologyEx(soft, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    counts = np.cumsum(np.bincount(change.ravel(), minlength=256))
    noise, most = np.searchsorted(counts, np.array([0.5, 0.99]) * change.size)
    levels = sorted({max(2.0, 2.2 * noise), max(2.0, noise + 0.35 * (most - noise))})
    for level, join in itertools.product(levels, (3, 7)):
        busy = cv2.morphologyEx((change > level).astype(np.uint8), cv2.MORPH_CLOSE, np.ones((join, join), np.uint8))
        busy = cv2.morphologyEx(busy, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
        outlines, _ = cv2.findContours(busy, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for outline in sorted((one for one in outlines if len(one) >= 4 * _SIDE), key=len, reverse=True)[:_OF_A_KIND]:
            middle, (across, along), turn = cv2.minAreaRect(outline)
            if min(across, along) < _SIDE or max(across, along) > 4 * min(across, along):
                continue
            full = cv2.contourArea(outline) / (across * along)
            if full < 0.5:
                continue
            corners = cv2.boxPoints((middle, (across - 2, along - 2), turn)).astype(float)
            yield full * min(across, along) / max(across, along) * min(1.0, min(across, along) / 30), corners


def read(grey: Grey, corners: Floats, until: float) -> Reading | None:
    """The QR code in a region (corners 4 × 2, pixels, in any turn), or None; stops at `until` (seconds, monotonic).

    A reading without a text is a QR code surely, by the patterns every code has, that could not be read.
    """
    return in_time(tries(grey, corners), until)


def tries(grey: Grey, corners: Floats) -> Iterator[Reading | Going | None]:
    """The QR code in a region, read or surely there, or None: as often as there is something more to be tried.

    A try goes on in steps of some milliseconds.
    """
    laid: list[tuple[float, _Cut, Grid]] = []
    cuts: dict[int, _Cut] = {}
    for kind in _KINDS:
        found = yield from _starts(grey, corners, kind, cuts)
        starts = [one for one in found if one[0] > kind.hopeful]
        for place, (_, cut, start) in enumerate(starts[: kind.most + kind.more_if_covered]):
            covered = kind.more_if_covered > 0 and partly_hidden(cut.soft(0.5), start, 0.5)
            if place >= kind.most and not covered:
                break
            grid = yield from _settled(cut, start, covered=covered)
            worth = agreement(cut.soft(0.4), grid, 0.4)
            if worth > _PROMISING:  # nor where the fit ran away and it is no number
                yield (yield from _reading(cut, grid, "modules", sure=worth > _SURE))
                laid.append((worth, cut, grid))
            yield None
        yield None
    laid.sort(key=lambda one: -one[0])
    for _, cut, grid in laid[:_CRINKLED]:
        bent = grid
        for _ in range(_ROUNDS):
            bent = yield from _followed(cut, bent)
            yield (yield from _reading(cut, bent, "modules on crinkled wrap", sure=False))


def _reading(cut: "_Cut", grid: Grid, how: str, *, sure: bool) -> Generator[Going, None, Reading | None]:
    """What is read at a grid, in a few steps; a reading without a text where there is none and yet surely a code."""
    text = yield from _decoded(_values(cut.picture, grid), _seen_from_the_side(grid))
    if text:
        return Reading(text, cut.back(grid.corners()), how)
    return Reading("", cut.back(grid.corners()), "unread") if sure else None


def _starts(
    grey: Grey, corners: Floats, kind: _Kind, cuts: dict[int, "_Cut"]
) -> Generator[Going, None, list[tuple[float, "_Cut", Grid]]]:
    """Grids over these corners in every turn, those that agree best with the known patterns first, in a few steps."""
    side = float(np.sqrt(abs(_area(corners))))
    found = []
    for version in kind.versions:
        size = 17 + 4 * version
        if side < size * _LEAST:
            continue
        cut = cuts[version] = cuts.get(version) or _Cut(grey, corners, side / size)
        rolls = [(arc, axis) for arc in kind.arcs for axis in (0, 1) if arc or not axis]
        for turn, (arc, axis) in itertools.product(range(4), rolls):
            grid = over(np.roll(cut.corners, -turn, axis=0), size, arc, axis)
            found.append((agreement(cut.soft(0.5), grid, 0.5, 3), cut, grid))
        yield Going.ON
    return sorted(found, key=lambda one: -one[0])


def _settled(cut: "_Cut", grid: Grid, *, covered: bool) -> Generator[Going, None, Grid]:
    """The grid fitted, in a few steps: whoever waits can stop between them."""
    grid = fitted(cut.soft(1.0), grid, 1.0, covered=covered)
    yield Going.ON
    return fitted(cut.soft(0.5), grid, 0.5, covered=covered)


def _followed(cut: "_Cut", grid: Grid) -> Generator[Going, None, Grid]:
    """The grid bent after the modules it shows, where it shows them clearly, in a few steps."""
    values, fixed = _values(cut.picture, grid), known((grid.size - 17) // 4)
    believed = np.where(fixed != 0, fixed, np.where(np.abs(values) > 0.35, np.sign(values), 0)).astype(np.int8)
    for bent in crinkled(cut.soft(0.5), grid, believed, 0.5, 4):
        grid = bent
        yield Going.ON
    return grid


class _Cut:
    """A region with a margin, evenly lit, at a size good to work with; its corners, and the way back to the frame."""

    def __init__(self, grey: Grey, corners: Floats, unit: float) -> None:
        margin = 6 * unit
        low = np.maximum(np.floor(corners.min(axis=0) - margin), 0).astype(int)
        high = np.minimum(np.ceil(corners.max(axis=0) + margin), grey.shape[::-1]).astype(int)
        cut = grey[low[1] : high[1], low[0] : high[0]]
        self._scale = _WORKING / unit if unit > _WORKING else min(4.0, max(1.0, 2.5 / unit))
        if self._scale != 1:
            how = cv2.INTER_AREA if self._scale < 1 else cv2.INTER_CUBIC
            cut = cv2.resize(cut, None, fx=self._scale, fy=self._scale, interpolation=how)
        self._low, self._unit = low, unit * self._scale
        self.corners = (corners - low) * self._scale
        self.picture = _even(cut, self._unit)
        self._soft: dict[float, NDArray[np.float32]] = {}

    def soft(self, modules: float) -> NDArray[np.float32]:
        """The picture blurred by so many modules."""
        if modules not in self._soft:
            self._soft[modules] = cv2.GaussianBlur(self.picture, (0, 0), modules * self._unit)
        return self._soft[modules]

    def back(self, points: Floats) -> Floats:
        return points / self._scale + self._low


def _even(cut: Grey, unit: float) -> NDArray[np.float32]:
    """Light taken out: what differs from its surroundings, in spreads of its surroundings, over about eight modules."""
    level = cut.astype(np.float32)
    wide = round(4 * unit) * 2 + 1

    def around(part: NDArray[np.float32]) -> NDArray[np.float32]:
        for _ in range(3):  # near enough to a bell
            part = cv2.blur(part, (wide, wide), borderType=cv2.BORDER_REFLECT)
        return part

    off = level - around(level)
    return off / np.sqrt(np.maximum(around(off * off), 0) + 1.0)


def _area(corners: Floats) -> float:
    x, y = corners.T
    return float(0.5 * (x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def _values(picture: NDArray[np.float32], grid: Grid) -> Floats:
    """Darkness of each module, n × n: 1 like ink, -1 like paper, by what the known modules near it look like."""
    size = grid.size
    offsets = (np.arange(3) - 1) * 0.25
    rows, columns = np.mgrid[0:size, 0:size] + 0.5
    total = np.zeros((size, size))
    for dx, dy in itertools.product(offsets, offsets):
        at = np.stack([columns + dx, rows + dy], axis=-1).reshape(-1, 2)
        total += looked(picture, grid.pixels(at)).reshape(size, size)
    return _levelled(total / 9, known((size - 17) // 4))


def _levelled(raw: Floats, fixed: NDArray[np.int8]) -> Floats:
    light, dark = float(np.median(raw[fixed == -1])), float(np.median(raw[fixed == 1]))
    seen = fixed * ((light + dark) / 2 - raw) > 0

    def near(which: NDArray[np.bool_], whole: float) -> Floats:
        """What these modules look like around each place, without those that look the other way."""
        weight, value = (
            cv2.GaussianBlur(part, (0, 0), 3.0, borderType=cv2.BORDER_CONSTANT)
            for part in ((which & seen).astype(float), np.where(which & seen, raw, 0.0))
        )
        return (value + 0.1 * whole) / (weight + 0.1)

    bright, black = near(fixed == -1, light), near(fixed == 1, dark)
    return (bright + black - 2 * raw) / np.maximum(bright - black, 0.2)


def _seen_from_the_side(grid: Grid) -> NDArray[np.bool_]:
    """The modules (n × n) that a roll turns so far away that too little of them is seen."""
    side = np.arange(grid.size + 1) * 2 / grid.size - 1
    step = np.diff(np.sin(side * grid.arc) / np.sin(grid.arc) if grid.arc else side)
    hidden = step < _FROM_THE_SIDE * step.max()
    return np.broadcast_to(hidden if grid.axis == 0 else hidden[:, None], (grid.size, grid.size))


def _decoded(values: Floats, aside: NDArray[np.bool_]) -> Generator[Going, None, str | None]:
    """The text in modules' darkness (n × n, -1 … 1): by a stock reader of the drawn grid, or as one of our codes."""
    size = len(values)
    drawn = np.where(np.pad(values, 4, constant_values=-1) > 0, 0, 255).astype(np.uint8)
    drawn = np.kron(drawn, np.ones((3, 3), np.uint8))
    plain = {"try_rotate": False, "try_downscale": False, "try_invert": False, "text_mode": zxingcpp.TextMode.Plain}
    for result in zxingcpp.read_barcodes(drawn, formats=_FORMATS, **plain):
        if result.text:
            return str(result.text)
    return (yield from _ours(values, aside)) if size == 21 else None


def _ours(values: Floats, aside: NDArray[np.bool_]) -> Generator[Going, None, str | None]:
    odds, covered, edge = _odds(values), *_covered(values)
    rows, columns = formats(1)
    order = path(1)
    for hidden in (covered, edge, np.zeros_like(covered)):
        yield Going.ON
        seen = np.where(hidden | aside, 0.0, odds)
        near = seen[rows, columns].sum(axis=0)
        number = max(range(8), key=lambda n: float(np.where(format_bits(LEVEL_Q, n), near, -near).sum()))
        found = qr_soft.read(np.where(mask(1, number), -seen, seen)[order])
        if found is not None:
            return found.text
    return None


def _odds(values: Floats) -> Floats:
    """Log odds of dark over light for each module (21 × 21), by how the known modules came out.

    Print is a little off; what lies on it looks like anything.
    """
    fixed = known(1)
    sure = fixed != 0
    off = np.abs(values - fixed)[sure]
    spread = max(0.12, 1.5 * float(np.median(off)))
    strange = np.clip((np.abs(values - fixed) > 3 * spread) & sure, 0, 1).astype(float)
    near, count = (cv2.GaussianBlur(part, (0, 0), 2.0) for part in (strange, sure.astype(float)))
    share = np.clip((near + 0.02 * strange.sum() / sure.sum()) / (count + 0.02), 0.01, 0.95)
    anything = share / 3

    def print_of(sign: float) -> Floats:
        return (1 - share) * np.exp(-0.5 * ((values - sign) / spread) ** 2) / (spread * np.sqrt(2 * np.pi)) + anything

    return np.asarray(np.log(print_of(1.0) / print_of(-1.0)))


def _covered(values: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Modules in an evenly dark or light patch of four by four or more, and those with their neighbours.

    No mask leaves such a patch, so something lies on it.
    """
    block = np.ones((4, 4), np.uint8)
    found = np.zeros(values.shape, bool)
    for side in (values > 0, values <= 0):
        found |= cv2.morphologyEx(np.pad(side, 4).astype(np.uint8), cv2.MORPH_OPEN, block)[4:-4, 4:-4].astype(bool)
    found &= known(1) == 0
    return found, cv2.dilate(found.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
