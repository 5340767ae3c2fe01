"""Where the bars of a Code 128 lie in a picture: along which lines, and how far up and down they reach."""

from dataclasses import dataclass

import numpy as np
from PIL import Image

from label_templates.grade.code128 import decode
from label_templates.grade.place import Floats, Found, Grey, sample

_MOST = 0.6
"""Share of a line's edges that stand where they should, for the line to lie in the bars."""
_GAP = 2
"""Modules without bars that are a scratch, more are the end of them."""
_TRIED = (0, -0.15, 0.15, -0.3, 0.3, -0.42, 0.42)
"""Parts of the height above and below the middle at which a line is tried."""


@dataclass(frozen=True, slots=True)
class Axes:
    """A symbol's own directions in the picture: lines run `along` it, bars stand `across`, unit vectors in pixels.

    A line is named by how far across from `middle` it lies, a place on it by how far along, in pixels.
    """

    middle: Floats
    along: Floats
    across: Floats

    def points(self, places: Floats, line: Floats | float) -> Floats:
        return np.asarray(self.middle + places[..., None] * self.along + np.asarray(line)[..., None] * self.across)


@dataclass(frozen=True, slots=True)
class Band:
    """The bars as they lie in the picture: `corners` 4 × 2 in pixels, clockwise from where reading begins."""

    corners: Floats
    modules: int
    """Modules from the first bar to the last."""

    @property
    def module(self) -> float:
        """A module in pixels."""
        top, bottom = self.corners[1] - self.corners[0], self.corners[2] - self.corners[3]
        return float(np.linalg.norm(top + bottom)) / 2 / self.modules

    def points(self, share: float, places: Floats, beside: Floats) -> Floats:
        """Points in the picture: `places` in modules along the line at that share of the height, and `beside` it."""
        begin, end = ((1 - share) * self.corners[i] + share * self.corners[j] for i, j in ((0, 3), (1, 2)))
        along = (end - begin) / self.modules
        across = np.array([-along[1], along[0]])
        return np.asarray(begin + places[..., None] * along + beside[..., None] * across)


def crossings(profile: Floats, threshold: float) -> tuple[Floats, Floats]:
    """Where a profile crosses the threshold, in samples, and +1 for dark to light, -1 for light to dark.

    What lies outside the picture counts as light, so that bars cut off by its edge have one.
    """
    known = np.where(np.isnan(profile), 2 * threshold, profile)
    dark = known < threshold
    at = np.nonzero(dark[1:] != dark[:-1])[0]
    return at + (threshold - known[at]) / (known[at + 1] - known[at]), np.where(dark[at], 1.0, -1.0)


def locate(image: Grey, found: Found) -> Band | None:
    """The bars of a Code 128 from where the decoder saw some of them. None where no line of them decodes."""
    axes, length, height = _axes(image, found.corners)
    for share in _TRIED:
        if read := _read(image, axes, share * height, length):
            return _follow(image, axes, read)
    return None


def _axes(image: Grey, corners: Floats) -> tuple[Axes, float, float]:
    """Directions by where the grey changes most about the symbol's middle; the decoder's own lines may run askew."""
    start, end = (corners[0] + corners[3]) / 2, (corners[1] + corners[2]) / 2
    middle, chord = (start + end) / 2, end - start
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 2, 0)
    high = np.ceil(corners.max(axis=0)).astype(int) + 3
    part = Image.fromarray(image[low[1] : high[1], low[0] : high[0]])
    small = np.asarray(part.reduce(1 + max(part.size) // 800), np.float64)
    right, down = np.diff(small, axis=1), np.diff(small, axis=0)
    slopes = np.stack([(right[1:] + right[:-1]).ravel(), (down[:, 1:] + down[:, :-1]).ravel()])
    tensor = slopes @ slopes.T
    along = np.linalg.eigh(tensor)[1][:, -1]
    along *= np.sign(along @ chord) or 1.0
    across = np.array([-along[1], along[0]])
    return Axes(middle, along, across), float(chord @ along), float(np.ptp(corners @ across))


@dataclass(frozen=True, slots=True)
class _Read:
    """A line that decodes: its edges in pixels along it, the grey between its bars and spaces, its modules."""

    line: float
    edges: Floats
    threshold: float
    modules: int

    @property
    def module(self) -> float:
        return float(self.edges[-1] - self.edges[0]) / self.modules


def _read(image: Grey, axes: Axes, line: float, length: float) -> _Read | None:
    """The edges of a line, in pixels along it, where it decodes from about where the bars should begin."""
    places = np.arange(-0.6 * length, 0.6 * length, 0.25)
    profile = sample(image, axes.points(places, line))
    inside = profile[np.abs(places) <= length / 2]
    if np.isnan(inside).all():
        return None
    threshold = float(np.nanmax(inside) + np.nanmin(inside)) / 2
    at, polarity = crossings(profile, threshold)
    edges = places[0] + at * 0.25
    starts = np.nonzero((polarity < 0) & (np.abs(edges + length / 2) < 0.08 * length))[0]
    for start in starts[np.abs(edges[starts] + length / 2).argsort()]:
        if decoded := decode(edges[start:]):
            own = edges[start : start + len(decoded.widths) + 1]
            return _Read(line, own, threshold, int(decoded.widths.sum()))
    return None


def _follow(image: Grey, axes: Axes, read: _Read) -> Band:
    """Up and down from a line that decodes, as long as most edges of its first or its last part go on."""
    step = max(1.0, read.module)
    begins, ends = {read.line: read.edges[0]}, {read.line: read.edges[-1]}
    for way in (-step, step):
        should, here, seen = read.edges, read.line, read.line
        while abs(here - seen) <= _GAP * step:
            here += way
            found = _alike(image, axes, here, should, read)
            should = found.edges
            if found.first:
                begins[here], seen = should[0], here
            if found.last:
                ends[here], seen = should[-1], here
    corners = [(begins, min(begins)), (ends, min(ends)), (ends, max(ends)), (begins, max(begins))]
    return Band(np.array([axes.points(np.asarray(places[at]), at) for places, at in corners]), read.modules)


@dataclass(frozen=True, slots=True)
class _Alike:
    """A line held against one beside it: where its edges are, and whether those of its first and last part go on."""

    edges: Floats
    first: bool
    last: bool


def _alike(image: Grey, axes: Axes, line: float, should: Floats, read: _Read) -> _Alike:
    """A line whose edges `should` be where those of the line before it were; fitted to those that are near."""
    module = read.module
    step = min(0.5, module / 4)
    places = np.arange(should[0] - 2 * module, should[-1] + 2 * module, step)
    profile = sample(image, axes.points(places, line))
    at, polarity = crossings(profile, read.threshold)
    if len(at) < 2:
        return _Alike(should, first=False, last=False)
    edges, wanted = places[0] + at * step, np.where(np.arange(len(should)) % 2, 1.0, -1.0)
    after = np.clip(np.searchsorted(edges, should), 1, len(edges) - 1)
    near = np.where(should - edges[after - 1] < edges[after] - should, after - 1, after)
    alike = (np.abs(edges[near] - should) < module / 2) & (polarity[near] == wanted)
    if alike.mean() >= _MOST:
        should = np.polyval(np.polyfit(should[alike], edges[near][alike], 1), should).astype(np.float64)
    part = max(len(should) // 4, 1)
    return _Alike(should, bool(alike[:part].mean() >= _MOST), bool(alike[-part:].mean() >= _MOST))
