"""Where the characters of a profile lie: the path from a start to a stop whose widths change slowly."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from scanner.rescue.code128 import CHARACTER, PATTERNS, STOP, TAIL

Floats = NDArray[np.float32]
_QUIET = 4
"""Modules of the quiet zone that are looked at."""
_SAMPLES = 2
"""A module, when a stretch is held against the characters."""
_STEP = 3
"""Places a module at which a character may begin."""
_FINER = 4
"""Samples between two places."""
_WIDER = 1.07
EVEN, UNEVEN = 3, 6
"""Steps of `_WIDER` by which a module may be wider or narrower than guessed: of print that lies flat, and of any."""
SHARP, SOFT = 0.45, 0.7
"""Modules by which patterns are blurred before they are held against a profile, sharp or soft itself."""
_HIDDEN = 0.45
"""What a character costs at most: it may be covered."""
_LEFT_OUT = 0.3
"""What it costs to leave out as many bars as make a character."""
_SHORT = 0.2
"""What is added to a path: a few characters are more easily found by chance than many."""
_CHANGE = 0.02
"""What it costs when a width changes by a step."""
_QUICKEST = 2
"""Steps by which a width may change from a character to the next."""
_MOST = 48
"""Characters at most."""


@dataclass(frozen=True, slots=True)
class Way:
    """What is expected of a profile.

    How soft it is; whether nothing but the symbol has bars in it, since in a soft or squeezed one a few characters can
    look better than all; and by how many steps a module may be wider or narrower than guessed, EVEN or UNEVEN.
    """

    soft: float = SHARP
    whole: bool = False
    uneven: int = EVEN


@dataclass(frozen=True, slots=True)
class Pace:
    """Knots: where each character, the stop and what comes after it begin, in samples of the profile; and its cost."""

    knots: NDArray[np.float64]
    cost: float


def guess(profile: Floats) -> float:
    """Samples a module, roughly: a character of 11 modules has six bars and spaces."""
    level = profile - cv2.blur(profile[None], (len(profile) // 8 * 2 + 1, 1))[0]
    high = level > 0
    turns = np.flatnonzero(np.diff(high))
    if len(turns) < 12:
        return 0.0
    inner = turns[len(turns) // 20 : -(len(turns) // 20) or None]
    return float((inner[-1] - inner[0]) / (len(inner) - 1) * 6 / CHARACTER)


@lru_cache(maxsize=2)
def _marks(soft: float) -> tuple[Floats, Floats]:
    """What stretches are held against × samples from the quiet zone before a character to the one after a stop, twice.

    First the 103 characters, 3 starts and the stop, each of length 1 and mean 0; then which samples each of the three
    kinds covers, over their number.
    """
    whole = (_QUIET + TAIL + _QUIET) * _SAMPLES
    spans = [(_QUIET, _QUIET + CHARACTER), (0, _QUIET + CHARACTER), (_QUIET, _QUIET + TAIL + _QUIET)]
    quiet = np.zeros((3, _QUIET), np.float32)
    kinds = [PATTERNS[:103], np.concatenate([quiet, PATTERNS[103:]], 1), np.concatenate([STOP, quiet[0]])[None]]
    marks, covers = [], np.zeros((3, whole), np.float32)
    for kind, (first, last), cover in zip(kinds, spans, covers, strict=True):
        span = slice(first * _SAMPLES, last * _SAMPLES)
        fine = np.repeat(kind, _SAMPLES, axis=1)
        mark = cv2.GaussianBlur(fine, (0, 0), soft * _SAMPLES, sigmaY=1e-3, borderType=cv2.BORDER_REPLICATE)
        mark = mark - mark.mean(1, keepdims=True)
        placed = np.zeros((len(kind), whole), np.float32)
        placed[:, span] = mark / np.linalg.norm(mark, axis=1, keepdims=True)
        marks.append(placed)
        cover[span] = 1 / (span.stop - span.start)
    return np.concatenate(marks), covers


def pace(profile: Floats, module: float, way: Way) -> list[Pace]:
    """The likeliest places of the characters in a profile (black is high) whose modules are some `module` samples wide.

    One `Pace` for each plausible count of characters, cheapest first, three at most.
    """
    widths = _WIDER ** np.arange(-way.uneven, way.uneven + 1)
    places = np.arange(0, len(profile) - 1, module / (_STEP * _FINER))
    dark = np.interp(places, np.arange(len(profile)), profile).astype(np.float32)
    inside, begin, end = _costs(_even(dark), way.soft, widths)
    if way.whole:
        before, after = _left_out(dark, widths)
        begin, end = begin + before, end + after
    found = _paths(begin, np.minimum(inside, _HIDDEN), end, np.rint(widths * CHARACTER * _STEP).astype(int))
    return [_scaled(one, module, widths) for one in found]


def _left_out(dark: Floats, widths: NDArray[np.float64]) -> tuple[Floats, Floats]:
    """What it costs that bars lie before a start at each place; and after a stop there, of each width."""
    change = cv2.blur(np.square(np.diff(dark, append=dark[-1:]))[None], (CHARACTER * _STEP * _FINER, 1))[0]
    busy = (change > 0.2 * np.percentile(change, 60))[::_FINER]
    before = (np.cumsum(busy) * (_LEFT_OUT / (CHARACTER * _STEP))).astype(np.float32)
    stops = np.arange(len(before)) + np.rint(widths * TAIL * _STEP).astype(np.int64)[:, None]
    return before, before[-1] - before[np.minimum(stops, len(before) - 1)]


def _even(dark: Floats) -> Floats:
    """The same, with a like contrast everywhere: a shadow takes light from a part of a label."""
    span = (40 * _STEP * _FINER + 1, 1)
    level = dark - cv2.blur(dark[None], span)[0]
    spread = np.sqrt(np.maximum(cv2.blur(np.square(level)[None], span), 0))
    least = cv2.erode(spread, np.ones((1, span[0])))[0]
    return np.clip(level / (least + 0.05 * np.median(least) + 1e-6), -4, 4)


def _costs(dark: Floats, soft: float, widths: NDArray[np.float64]) -> NDArray[np.float32]:
    """3 × widths × places: how unlike (0 to 2) the best character, the best start and the stop is what begins there."""
    marks, covers = _marks(soft)
    grain = 0.06
    modules = (np.arange(marks.shape[1]) + 0.5) / _SAMPLES - _QUIET
    offsets = np.rint(modules * (_STEP * _FINER) * widths[:, None]).astype(np.int32)
    before, after = -int(offsets.min()), int(offsets.max())
    padded = np.pad(dark, (before, after), mode="edge")
    at = np.arange(0, len(dark), _FINER, dtype=np.int32) + before
    costs = np.empty((3, len(widths), len(at)), np.float32)
    for width, offset in enumerate(offsets):
        seen = padded[at + offset[:, None]]
        like = marks @ seen
        spread = covers @ np.square(seen) - np.square(covers @ seen) + grain
        best = np.stack([like[:103].max(0), like[103:106].max(0), like[106]])
        costs[:, width] = 1 - best / np.sqrt(spread / covers.max(1)[:, None])
    return costs


def _paths(begin: Floats, inside: Floats, end: Floats, jumps: NDArray[np.int64]) -> list[tuple[float, int, list[int]]]:
    """(mean cost, first place, widths of the characters and of the stop): of the best path of each length.

    Costs are widths × places; a character of each width is `jumps` places long.
    """
    heres, found = [], []
    here = _arrived(begin, jumps)
    for length in range(1, _MOST):
        last = here + end
        best = int(last.argmin())
        cost = float(last.ravel()[best])
        if cost > 100:
            break
        if length >= 3:
            found.append(((cost + _SHORT) / (length + 1), length, best))
        heres.append(here)
        here = _arrived(_eased(here) + inside, jumps)
    found.sort()
    return [_walk(cost, best, heres[:length], jumps) for cost, length, best in found[:3]]


def _arrived(cost: Floats, jumps: NDArray[np.int64]) -> Floats:
    """Costs where characters begin, as they are where these end."""
    there = np.full_like(cost, 1e3)
    for row, before, jump in zip(there, cost, jumps, strict=True):
        row[jump:] = before[:-jump]
    return there


def _eased(here: Floats) -> Floats:
    """The cost of being there and then changing to another width."""
    for _ in range(_QUICKEST):
        near = here + _CHANGE
        here = here.copy()
        np.minimum(here[1:], near[:-1], out=here[1:])
        np.minimum(here[:-1], near[1:], out=here[:-1])
    return here


def _walk(cost: float, best: int, heres: list[Floats], jumps: NDArray[np.int64]) -> tuple[float, int, list[int]]:
    """Back from the stop, character by character, to the start."""
    width, place = divmod(best, heres[0].shape[1])
    widths = [width]
    for before in heres[-2::-1]:
        widths.append(width)
        place -= int(jumps[width])
        change = np.abs(np.arange(len(jumps)) - width)
        width = int(np.where(change <= _QUICKEST, before[:, place] + _CHANGE * change, np.inf).argmin())
    widths.append(width)
    return cost, place - int(jumps[width]), widths[::-1]


def _scaled(found: tuple[float, int, list[int]], module: float, widths: NDArray[np.float64]) -> Pace:
    cost, first, taken = found
    steps = np.rint(widths * CHARACTER * _STEP)[taken]
    steps[-1] = widths[taken[-1]] * TAIL * _STEP
    knots = first + np.concatenate([[0], np.cumsum(steps)])
    return Pace(knots * module / _STEP, cost)
