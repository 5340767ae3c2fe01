"""Squares: finding QR codes that stock readers give up on, and reading them module by module."""

import itertools
import time
from collections.abc import Iterator

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from scanner.rescue import Reading, qr_soft
from scanner.rescue.qr_fit import Floats, Grid, agreement, crinkled, fitted, looked, over
from scanner.rescue.qr_layout import LEVEL_Q, format_bits, formats, known, mask, path

Grey = NDArray[np.uint8]
_SCALES = (1.0, 0.5, 0.25)
_WORKING = 4.0
"""Pixels of a module to work with: more cost time and show nothing new."""
_ARCS = (0.0, 0.9, 1.25, 1.5)
"""Half arcs of rolls, in radians, that a fit begins from."""
_FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2,)
PROMISING = 0.45
"""Agreement with the known patterns below which a grid is no code."""


def find(grey: Grey) -> list[Floats]:
    """Regions that may hold a QR code, best first: corners 4 × 2 in pixels, in any turn."""
    found: list[tuple[float, Floats]] = []
    for scale in _SCALES:
        small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey
        if min(small.shape) < 12:
            break
        found += [(worth, (corners + 0.5) / scale) for worth, corners in _busy(small)]
    kept: list[Floats] = []
    for _, corners in sorted(found, key=lambda one: -one[0]):
        if all(np.abs(np.sort(corners, axis=0) - np.sort(other, axis=0)).max() > 0.08 * np.ptp(corners) for other in kept):
            kept.append(corners)
    return kept


def _busy(small: Grey) -> Iterator[tuple[float, Floats]]:
    """Squarish places where light and dark change all over: how square and full each is, and its rectangle."""
    soft = cv2.GaussianBlur(small, (3, 3), 0)
    change = cv2.morphologyEx(soft, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    noise = float(np.median(change))
    levels = {max(8.0, 2.5 * noise), max(8.0, noise + 0.35 * float(np.percentile(change, 99) - noise))}
    for level in sorted(levels):
        busy = cv2.morphologyEx((change > level).astype(np.uint8), cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
        busy = cv2.morphologyEx(busy, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
        outlines, _ = cv2.findContours(busy, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        inner, _ = cv2.findContours(busy, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
        for outline in itertools.chain(outlines, inner):
            middle, (wide, tall), turn = cv2.minAreaRect(outline)
            if min(wide, tall) < 14 or max(wide, tall) > 4 * min(wide, tall):
                continue
            full = cv2.contourArea(outline) / (wide * tall)
            if full < 0.5:
                continue
            corners = cv2.boxPoints((middle, (max(wide - 2, 1), max(tall - 2, 1)), turn)).astype(float)
            yield full * min(wide, tall) / max(wide, tall) * min(1.0, min(wide, tall) / 30), corners


def read(grey: Grey, corners: Floats, until: float) -> Reading | None:
    """The QR code in a region (corners 4 × 2, pixels, in any turn), or None; stops at `until` (time.monotonic() seconds)."""
    for grid, picture, place in _grids(grey, corners, until):
        found = _from_modules(picture, grid, until)
        if found is not None:
            text, how = found
            return Reading(text, place(grid.corners()), how)
    return None


def _grids(grey: Grey, corners: Floats, until: float):
    """Grids that the known patterns agree with, best first, each with the even-lit picture it lies in and the way back to pixels."""
    side = float(np.sqrt(abs(_area(corners))))
    starts = []
    for version in (1, 2, 3, 4, 5):
        size = 17 + 4 * version
        picture, shrunk, place = _cut(grey, corners, side / size)
        soft = cv2.GaussianBlur(picture, (0, 0), 0.5 * max(1.0, side / size * place.scale))
        for turn, (arc, axis) in itertools.product(range(4), [(a, x) for a in _ARCS for x in (0, 1) if a or not x]):
            if version > 1 and arc:
                continue
            grid = over(np.roll(shrunk, -turn, axis=0), size, arc, axis)
            starts.append((agreement(soft, grid, 0.5), version, grid, picture, place))
    starts.sort(key=lambda one: -one[0])
    tried = []
    for _, _, grid, picture, place in starts[:12]:
        if time.monotonic() > until:
            return
        unit = grid.module_pixels()
        for blur in (1.0, 0.5):
            soft = cv2.GaussianBlur(picture, (0, 0), blur * unit)
            grid = fitted(soft, grid, blur, 8)
        worth = agreement(cv2.GaussianBlur(picture, (0, 0), 0.4 * unit), grid, 0.4)
        if np.isfinite(worth):
            tried.append((worth, grid, picture, place))
        if worth > 0.8:
            break
    tried.sort(key=lambda one: -one[0])
    for worth, grid, picture, place in tried[:3]:
        if worth > PROMISING:
            yield grid, picture, place


class _Place:
    """The way from a cut's pixels back to the frame's."""

    def __init__(self, left: float, top: float, scale: float) -> None:
        self.left, self.top, self.scale = left, top, scale

    def __call__(self, points: Floats) -> Floats:
        return points / self.scale + (self.left, self.top)


def _cut(grey: Grey, corners: Floats, unit: float) -> tuple[NDArray[np.float32], Floats, _Place]:
    """The region with a margin, at the working size, evenly lit; the corners in it."""
    margin = 6 * unit
    low = np.maximum(np.floor(corners.min(axis=0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(corners.max(axis=0) + margin), grey.shape[::-1]).astype(int)
    cut = grey[low[1] : high[1], low[0] : high[0]]
    scale = min(4.0, _WORKING / unit) if unit < 2 else min(1.0, _WORKING / unit)
    if scale != 1:
        how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        cut = cv2.resize(cut, None, fx=scale, fy=scale, interpolation=how)
    return _even(cut, unit * scale), (corners - low) * scale, _Place(float(low[0]), float(low[1]), scale)


def _even(cut: Grey, unit: float) -> NDArray[np.float32]:
    """Light taken out: what differs from its surroundings, in spreads of its surroundings, over about eight modules."""
    level = cut.astype(np.float32)
    wide = 4 * unit
    mean = cv2.GaussianBlur(level, (0, 0), wide, borderType=cv2.BORDER_REFLECT)
    spread = cv2.GaussianBlur((level - mean) ** 2, (0, 0), wide, borderType=cv2.BORDER_REFLECT)
    return (level - mean) / np.sqrt(spread + 1.0)


def _area(corners: Floats) -> float:
    x, y = corners.T
    return float(0.5 * (x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def _from_modules(picture: NDArray[np.float32], grid: Grid, until: float) -> tuple[str, str] | None:
    for step in range(4):
        values = _values(picture, grid)
        text = _decoded(values)
        if text:
            return text, "modules" if step == 0 else f"modules, crinkle followed {step}"
        if time.monotonic() > until:
            return None
        unit = grid.module_pixels()
        believed = np.where(np.abs(values) > 0.35, np.sign(values), 0).astype(np.int8)
        version = (grid.size - 17) // 4
        fixed = known(version)
        believed = np.where(fixed != 0, fixed, believed)
        soft = cv2.GaussianBlur(picture, (0, 0), 0.5 * unit)
        grid = crinkled(soft, grid, believed, 0.5, 4)
    return None


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
    spread = 4.0

    def near(which: NDArray[np.bool_]) -> Floats:
        weight = cv2.GaussianBlur(which.astype(float), (0, 0), spread, borderType=cv2.BORDER_CONSTANT)
        value = cv2.GaussianBlur(np.where(which, raw, 0.0), (0, 0), spread, borderType=cv2.BORDER_CONSTANT)
        whole = raw[which].mean() if which.any() else 0.0
        return (value + 0.02 * whole) / (weight + 0.02)

    dark, light = near(fixed == 1), near(fixed == -1)
    return (light + dark - 2 * raw) / np.maximum(light - dark, 0.2)


def _decoded(values: Floats) -> str | None:
    """The text in modules' darkness (n × n, -1 … 1): by a stock reader of the drawn grid, or as one of our codes."""
    size = len(values)
    drawn = np.where(np.pad(values, 4, constant_values=-1) > 0, 0, 255).astype(np.uint8)
    drawn = np.kron(drawn, np.ones((3, 3), np.uint8))
    for result in zxingcpp.read_barcodes(drawn, formats=_FORMATS, is_pure=True, text_mode=zxingcpp.TextMode.Plain):
        if result.text:
            return str(result.text)
    return _ours(values) if size == 21 else None


def _ours(values: Floats) -> str | None:
    fixed = known(1)
    off = values - fixed
    spread = max(0.15, 1.2 * float(np.sqrt(np.mean(np.minimum(off[fixed != 0] ** 2, 1.0)))))
    odds = 2 * np.clip(values, -1.3, 1.3) / spread**2
    odds[_covered(values)] = 0
    rows, columns = formats(1)
    near = odds[rows, columns].sum(axis=0)
    masks = sorted(range(8), key=lambda n: -float(np.where(format_bits(LEVEL_Q, n), near, -near).sum()))
    order = path(1)
    for number in masks[:2]:
        found = qr_soft.read(np.where(mask(1, number), -odds, odds)[order])
        if found is not None:
            return found.text
    return None


def _covered(values: Floats) -> NDArray[np.bool_]:
    """Modules in an evenly dark or light patch of four by four or more: no mask leaves such a patch, so something lies on it."""
    found = np.zeros(values.shape, bool)
    block = np.ones((4, 4), np.uint8)
    for side in (values > 0, values <= 0):
        # a patch is every module that some 4 × 4 block of one colour covers
        found |= cv2.morphologyEx(np.pad(side, 4).astype(np.uint8), cv2.MORPH_OPEN, block)[4:-4, 4:-4].astype(bool)
    return found & (known(1) == 0)
