"""A Code 128 graded in the manner of ISO/IEC 15416: ten lines over its bars, the mean of their grades."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from label_templates.grade import advice, limits
from label_templates.grade.advice import Dots
from label_templates.grade.bars import Band, crossings, locate
from label_templates.grade.code128 import Decoded, decode
from label_templates.grade.limits import LINEAR
from label_templates.grade.place import Floats, Found, Grey, sample
from label_templates.grade.result import Grade, Parameter, held

LINES = 10
FREE = 0.1
"""Share of the height left out at top and bottom: READ-2 documentation.euresys.com, ISO/IEC 15416."""
QUIET, MARGIN = 10, 12
"""Modules beside the bars: the quiet zone, and how far is looked."""
FINE = 10
"""Samples a module along a line."""
BARS = slice((MARGIN - 1) * FINE, (1 - MARGIN) * FINE)
"""The bars in a line's profile, and a module of the quiet zone on each side."""
_APERTURE = 0.5
"""Diameter of the spot the bars are measured with, in modules. RECALL ISO/IEC 15416: 0.125 mm where X is 0.25."""


@dataclass(frozen=True, slots=True)
class _Line:
    """One line over the bars. `values` are of the parameters in LINEAR; growth in modules, where it was read."""

    values: dict[str, float]
    growth: float | None
    cut: bool
    """Whether the picture ends within the quiet zone."""

    @property
    def grade(self) -> float:
        return min(LINEAR[name].grade(value) for name, value in self.values.items())


def grade_code128(image: Grey, found: Found, dots: Dots) -> Grade:
    """The grade of one Code 128 of `image` (8-bit grey)."""
    band = locate(image, found)
    if band is None:
        unread = held(LINEAR["decode"], 0, advice=advice.UNREAD)
        return _grade(found, 0.0, (unread,), found.corners, found.module)
    shares = FREE + (1 - 2 * FREE) * (np.arange(LINES) + 0.5) / LINES
    profiles = [_profile(image, band, share) for share in shares]
    lightest = [float(np.nanmax(part)) for part in np.array_split(np.mean(profiles, axis=0)[BARS], 4)]
    white = max(float(np.nanmax(profile[BARS])) for profile in profiles) or 1.0
    text = bytes(byte & 127 for byte in found.data)
    lines = [_line(profile / white, text) for profile in profiles]
    number = _tenth([line.grade for line in lines])
    parameters = _parameters(lines, advice.uneven(lightest), lambda share: dots.amount(share, band.module))
    return _grade(found, number, parameters, band.corners, band.module)


def _grade(found: Found, number: float, parameters: tuple[Parameter, ...], corners: Floats, module: float) -> Grade:
    outline = tuple((float(x), float(y)) for x, y in corners)
    return Grade(found.text, "CODE128", number, limits.LINEAR_EDITION, parameters, outline, round(module, 2))


def _profile(image: Grey, band: Band, share: float) -> Floats:
    """Grey along a line, FINE samples a module from MARGIN modules before the bars on, meant over the aperture."""
    places = np.arange(-MARGIN * FINE, (band.modules + MARGIN) * FINE + 1) / FINE
    beside = np.linspace(-1, 1, 5)[:, None] * _APERTURE / 2
    grey = sample(image, band.points(share, *np.broadcast_arrays(places, beside))).mean(axis=0)
    spot = round(_APERTURE * FINE)
    half = spot // 2
    known = np.isfinite(grey)
    sums = np.convolve(np.nan_to_num(grey), np.ones(spot), "same")
    smooth = sums / np.maximum(np.convolve(known.astype(float), np.ones(spot), "same"), 1)
    smooth[:half], smooth[-half:] = grey[:half], grey[-half:]
    return np.where(known, smooth, np.nan)


def _line(profile: Floats, text: bytes) -> _Line:
    """One line measured: `profile` is reflectance, 0 to 1."""
    light, dark = float(np.nanmax(profile[BARS])), float(np.nanmin(profile[BARS]))
    threshold = (light + dark) / 2
    at, polarity = crossings(profile, threshold)
    begins = _nearest(at, polarity, MARGIN * FINE, -1)
    ends = _nearest(at, polarity, len(profile) - 1 - MARGIN * FINE, 1)
    contrast = light - dark
    values = dict.fromkeys(LINEAR, 0.0) | {
        "symbol contrast": contrast,
        "minimum reflectance": dark / light if light else 1,
    }
    if begins is None or ends is None or begins >= ends:
        return _Line(values | {"defects": 1.0}, None, cut=False)
    edges = at[begins : ends + 1]
    decoded = decode(edges)
    right = decoded is not None and decoded.text == text and len(decoded.widths) == len(edges) - 1
    free, cut = _free(profile, at, begins, ends)
    step = _edge_contrast(profile, edges)
    values |= {
        "decode": float(right),
        "edge contrast": step,
        "modulation": step / contrast if contrast else 0.0,
        "defects": _defects(profile, edges, free) / contrast if contrast else 1.0,
        "decodability": decoded.decodability if decoded and right else 0.0,
        "quiet zone": min(round(one / FINE, 1) for one in free),
    }
    return _Line(values, _growth(edges, decoded) if decoded and right else None, cut)


def _nearest(at: Floats, polarity: Floats, place: float, wanted: float) -> int | None:
    """The crossing of the `wanted` polarity nearest to a place, within a module."""
    near = np.nonzero((polarity == wanted) & (np.abs(at - place) <= FINE))[0]
    return int(near[np.abs(at[near] - place).argmin()]) if len(near) else None


def _free(profile: Floats, at: Floats, begins: int, ends: int) -> tuple[tuple[float, float], bool]:
    """How far it is free before and after the bars, in samples, and whether the picture ends there."""
    outside = np.nonzero(np.isnan(profile))[0]
    before = [at[begins] - (at[begins - 1] if begins else 0), *(at[begins] - outside[outside < at[begins]])]
    after = [
        (at[ends + 1] if ends + 1 < len(at) else len(profile) - 1) - at[ends],
        *(outside[outside > at[ends]] - at[ends]),
    ]
    free = float(min(before)), float(min(after))
    return free, min(free) < min(before[0], after[0])


def _edge_contrast(profile: Floats, edges: Floats) -> float:
    """The least difference between the lightest of a space, or quiet zone, and the darkest of a bar beside it."""
    cuts = np.concatenate([[max(edges[0] - FINE, 0)], edges]).astype(int) + 1
    last = min(int(edges[-1]) + 1 + FINE, len(profile))
    lightest, darkest = (each.reduceat(profile[:last], cuts) for each in (np.fmax, np.fmin))
    element = np.where(np.arange(len(cuts)) % 2, darkest, lightest)
    return float(np.nanmin(np.abs(np.diff(element))))


def _defects(profile: Floats, edges: Floats, free: tuple[float, float]) -> float:
    """The greatest unevenness within one element: how far a bar's profile rises, or a space's falls, and returns.

    Quiet zones are spaces, as far as they are free and at most 10 modules.
    """
    reach = [min(one, QUIET * FINE) for one in free]
    start, stop = int(edges[0] - reach[0]) + 1, int(edges[-1] + reach[1]) + 1
    part = np.nan_to_num(profile[max(start, 0) : stop])
    element = np.searchsorted(edges, np.arange(max(start, 0), max(start, 0) + len(part)))
    part = np.where(element % 2, part, -part)
    apart = 4.0 * element  # more than reflectance reaches, so that what runs along stays within its element
    before = np.minimum.accumulate(part - apart) + apart
    after = np.minimum.accumulate((part + apart)[::-1])[::-1] - apart
    return float((part - np.maximum(before, after)).max())


def _growth(edges: Floats, decoded: Decoded) -> float:
    """By how much of a module bars are wider than they should be; the module by edges of the same kind."""
    module = (edges[-2] - edges[0]) / decoded.widths[:-1].sum()
    bars = np.diff(edges)[::2]
    return float(np.mean(bars / module - decoded.widths[::2]))


def _parameters(lines: Sequence[_Line], shade: str, amount: Callable[[float], str]) -> tuple[Parameter, ...]:
    """Each parameter's mean over the lines, value and grade, and what is told of the ink's growth."""
    growths = [line.growth for line in lines if line.growth is not None]
    growth = float(np.mean(growths)) if growths else 0.0
    ink = advice.growth(growth, amount(growth))
    cause = shade or ink
    quiet = float(np.mean([line.values["quiet zone"] for line in lines]))
    told = {
        "decode": cause or advice.UNREAD,
        "symbol contrast": advice.CONTRAST,
        "minimum reflectance": advice.REFLECTANCE,
        "edge contrast": cause or advice.EDGE,
        "modulation": cause or advice.SOFT,
        "defects": advice.SPOTS,
        "decodability": ink or advice.UNEVEN,
        "quiet zone": advice.quiet_bars(quiet, cut=any(line.cut for line in lines)),
    }
    parameters = [_mean(name, lines, words) for name, words in told.items()]
    if growths:
        parameters.append(Parameter("bar width growth", round(growth, 3) + 0.0, "X", None, "", "told, not graded", ink))
    return tuple(parameters)


def _mean(name: str, lines: Sequence[_Line], words: str) -> Parameter:
    values = [line.values[name] for line in lines]
    grade = _tenth([LINEAR[name].grade(value) for value in values])
    return held(LINEAR[name], float(np.mean(values)), grade=grade, advice=words)


def _tenth(grades: Sequence[float]) -> float:
    """The mean of the lines' grades, to the nearest tenth."""
    return round(float(np.mean(grades)) + 1e-9, 1)
