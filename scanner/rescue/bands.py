"""A region with bars as a few level profiles, one a band across the bars' height."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
Floats = NDArray[np.float32]
_COLUMNS = 1400
_CUBIC = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
_BANDS = 16
_FURTHEST = 5
"""Samples by which wrinkled bars move at most from one band to the next."""
_KNOTS = 20
"""Places along the bars where they are moved by an amount of their own."""


@dataclass(frozen=True, slots=True)
class Bands:
    """Levels of bands × samples along the bars, and the way back into the frame."""

    levels: Floats
    per_pixel: float
    """Samples a pixel of the frame."""
    place: NDArray[np.float64]
    """2 × 3: (sample, row of the patch) → pixel of the frame."""
    tall: int
    """Rows of the patch."""

    def corners(self, first: float, last: float) -> NDArray[np.float64]:
        """Where the samples from `first` to `last` lie in the frame: top left, top right, bottom right, bottom left."""
        ends = np.array([(first, 0), (last, 0), (last, self.tall - 1), (first, self.tall - 1)])
        return np.asarray(ends @ self.place[:, :2].T + self.place[:, 2])


def straighten(grey: Image, corners: NDArray[np.float64]) -> Bands | None:
    """The bands of a region, bars upright: the slant is the one in which they agree best. None for one too small."""
    along = (corners[1] - corners[0] + corners[2] - corners[3]) / 2
    down = (corners[3] - corners[0] + corners[2] - corners[1]) / 2
    wide, tall = float(np.hypot(*along)), float(np.hypot(*down))
    if wide < 24 or tall < 4:
        return None
    shrink = max(1, int(wide / _COLUMNS))
    near, corner = _near(grey, corners, shrink)
    scale = float(np.clip(_COLUMNS * shrink / wide, 1, 3)) / shrink
    rows = int(np.clip(tall / shrink / 2, 2, 80))
    count = min(_BANDS, rows)
    size = (round(wide * scale), rows // count * count * 2)
    across, up = along / wide, down / tall
    levels, place = np.empty(0, np.float32), np.empty((2, 3))
    for reach, steps in ((0.12, 25), (0.016, 17), (0, 0)):
        place = _place(corners.mean(0), across * wide, up * tall, size)
        near_place = (place + np.array([[0, 0, 0.5 - corner[0]], [0, 0, 0.5 - corner[1]]])) / shrink
        near_place[:, 2] -= 0.5
        patch = cv2.warpAffine(near, near_place, size, flags=_CUBIC, borderMode=cv2.BORDER_REPLICATE)
        levels = patch.reshape(count, -1, size[0]).mean(1, dtype=np.float32)
        if steps:
            lean = np.arctan(_lean(levels, reach * tall * scale, steps) / (tall * scale))
            turned = np.array([[np.cos(lean), np.sin(lean)], [-np.sin(lean), np.cos(lean)]])
            across, up = turned @ across, turned @ up
    return Bands(levels, scale, place, size[1])


def _near(grey: Image, corners: NDArray[np.float64], shrink: int) -> tuple[Image, tuple[int, int]]:
    """The part of the frame around a region, `shrink` times smaller, and where its corner is; all of it at 1."""
    if shrink == 1:
        return grey, (0, 0)
    left, top = np.maximum(corners.min(0) - 4 * shrink, 0).astype(int)
    right, bottom = corners.max(0).astype(int) + 4 * shrink
    part = grey[top:bottom, left:right]
    part = part[: part.shape[0] // shrink * shrink, : part.shape[1] // shrink * shrink]
    size = (part.shape[1] // shrink, part.shape[0] // shrink)
    return cv2.resize(part, size, interpolation=cv2.INTER_AREA), (int(left), int(top))


def _place(
    middle: NDArray[np.float64], along: NDArray[np.float64], down: NDArray[np.float64], size: tuple[int, int]
) -> NDArray[np.float64]:
    step_x, step_y = along / size[0], down / size[1]
    first = middle - step_x * (size[0] - 1) / 2 - step_y * (size[1] - 1) / 2
    return np.stack([step_x, step_y, first], 1)


def _lean(levels: Floats, reach: float, steps: int) -> float:
    """Samples by which bars lean over the whole height, at most `reach`: so leant, they add to the sharpest edges."""
    if len(levels) == _BANDS:  # half of them show it as well
        levels = (levels[::2] + levels[1::2]) / 2
    count = len(levels)
    heights = (np.arange(count) + 0.5) / count - 0.5
    reach = min(reach, levels.shape[1] / 3)
    spare = int(reach / 2) + 1
    best, found = -1.0, 0.0
    for shift in np.linspace(-reach, reach, steps):
        starts = spare + np.rint(shift * heights).astype(int)
        total = sum(
            band[start : start + levels.shape[1] - 2 * spare] for band, start in zip(levels, starts, strict=True)
        )
        sharp = float(np.square(np.diff(total)).sum())
        if sharp > best:
            best, found = sharp, float(shift)
    return found


def line(levels: Floats) -> tuple[Floats, Floats]:
    """One profile (black is high) of all bands, and how much it is to be trusted, 0 to 1, sample by sample."""
    weight = _weights(levels)
    total = weight.sum(0)
    steps = np.diff(levels, axis=1, append=levels[:, -1:])
    mean = (weight * steps).sum(0) / total
    window = _window(levels)
    agreed = cv2.blur(np.square(mean)[None], window)[0]
    apart = cv2.blur((weight * np.square(steps - mean)).sum(0)[None], window)[0] / total
    clear = np.maximum(len(levels) * agreed / (apart + 1e-3) - 1, 0)
    trust = clear * clear / (clear * clear + 16)
    return (-(weight * levels).sum(0) / total).astype(np.float32), trust.astype(np.float32)


def halves(levels: Floats, trust: Floats) -> list[tuple[Floats, Floats]]:
    """The same of every other band, twice: each counts in its half as it does in the whole, of which `trust` is."""
    weight = _weights(levels)
    whole = weight.sum(0)
    found = []
    for bands in (slice(0, None, 2), slice(1, None, 2)):
        total = weight[bands].sum(0)
        profile = -(weight * levels)[bands].sum(0) / total
        found.append((profile.astype(np.float32), trust * np.minimum(2 * total / whole, 1).astype(np.float32)))
    return found


def _window(levels: Floats) -> tuple[int, int]:
    return (max(3, levels.shape[1] // 28) | 1, 1)


def _weights(levels: Floats) -> Floats:
    """How much each sample of each band counts.

    Bars show in a band as quick changes: where a band has few of them it is burnt out, covered or unprinted, where it
    has others than the rest it shows an edge of what covers it. Such stretches hardly count.
    """
    window = _window(levels)
    steps = np.diff(levels, axis=1, append=levels[:, -1:])
    energy = cv2.blur(steps * steps, window)
    ranked = np.sort(energy, axis=0)
    most, often = ranked[len(levels) - 2], ranked[int(0.8 * (len(levels) - 1))]
    usual = np.maximum(often, np.minimum(most, np.median(often)))
    usual = cv2.blur(usual[None], window)[0] + 1e-3
    lively = np.square(np.minimum(energy / usual, 1))
    weight = lively + 1e-3
    for _ in range(2):
        mean = (weight * steps).sum(0) / weight.sum(0)
        apart = cv2.blur(np.square(steps - mean), window)
        weight = lively / (1 + np.square(apart / (0.5 * usual))) + 1e-3
    return weight


def unwrinkled(levels: Floats) -> Floats:
    """The bands with their bars on top of each other: outwards from the middle, each moved to fit the last."""
    count, size = levels.shape
    middle = count // 2
    moved = levels.copy()
    for bands in (range(middle - 1, -1, -1), range(middle + 1, count)):
        shift = np.zeros(size, np.float32)
        model = moved[middle]
        for band in bands:
            shift = _shift(levels[band], model, shift)
            moved[band] = np.interp(np.arange(size) + shift, np.arange(size), levels[band])
            model = 0.6 * model + 0.4 * moved[band]
    return moved


def _shift(band: Floats, model: Floats, near: Floats) -> Floats:
    """Samples by which `band` has to be moved to lie on `model`: smooth along the bars, not far from `near`."""
    size = len(band)
    tries = np.arange(-_FURTHEST, _FURTHEST + 1)
    places = np.arange(size) + near + tries[:, None]
    seen = np.interp(places, np.arange(size), band).astype(np.float32)
    knots = np.linspace(0, size - 1, _KNOTS)
    apart = cv2.blur(np.square(seen - model), (size // _KNOTS | 1, 1))[:, knots.astype(int)]
    apart /= np.median(apart) + 1e-6
    bend = 0.15 * np.square(tries[:, None] - tries)
    total, back = apart[:, 0], []
    for knot in range(1, _KNOTS):
        ways = total + bend
        back.append(ways.argmin(1))
        total = ways.min(1) + apart[:, knot]
    best = [int(total.argmin())]
    for step in reversed(back):
        best.append(int(step[best[-1]]))
    return near + np.interp(np.arange(size), knots, tries[best[::-1]]).astype(np.float32)
