"""A profile as what a lens made of a row of modules: the blur, the light and the stretch that explain it best.

Black is 1, white 0, places are in modules from the first bar, `FINE` samples a module.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from scanner.rescue.code128 import CHARACTER, PATTERNS, STOP, TAIL

Floats = NDArray[np.float32]
FINE = 4
QUIET = 4
"""Modules of the quiet zones that take part."""
_REACH = 3
"""Modules that a blur reaches to either side."""
_BLURS = (0.3, 0.55, 0.8, 1.05, 1.3)
"""Standard deviations, in modules, of the blurs tried first."""
_HIDDEN = 0.3
_EVEN = 1.15
"""Characters whose widths differ by less are taken to be blurred alike."""


@dataclass(frozen=True, slots=True)
class Fit:
    """How a profile is seen: `count` characters before the stop."""

    count: int
    places: NDArray[np.float64]
    """For each sample of the grid, where it lies in the profile."""
    seen: Floats
    """The profile on the grid, black 1 and white 0 as far as known."""
    trust: Floats
    """0 to 1: how much each sample of the grid counts."""
    blur: Floats
    """What one black sample becomes, `_REACH` modules to either side; its sum is 1."""
    wider: NDArray[np.float64]
    """For each character and the stop, how much wider its blur is in its own modules."""
    noise: float
    """Standard deviation of what is seen from what it should be."""

    def hidden(self) -> NDArray[np.bool_]:
        """Which characters are trusted so little that they may well be covered."""
        inside = self.trust[QUIET * FINE : (QUIET + self.count * CHARACTER) * FINE]
        return np.asarray(inside.reshape(self.count, -1).mean(1) < _HIDDEN)


def start(profile: Floats, trust: Floats, knots: NDArray[np.float64]) -> Fit:
    """The first look at a profile (black is high) whose characters and stop begin at `knots`."""
    count = len(knots) - 2
    modules = _modules(count)
    ends = np.append(np.arange(count + 1) * CHARACTER, count * CHARACTER + TAIL)
    knots = _eased(knots, ends)
    slopes = (knots[1] - knots[0]) / CHARACTER, (knots[-1] - knots[-2]) / TAIL
    places = np.interp(modules, ends, knots)
    places += np.minimum(modules, 0) * slopes[0] + np.maximum(modules - ends[-1], 0) * slopes[1]
    level = _at(profile, places)
    span = 30 * FINE + 1
    low, high = cv2.erode(level[None], np.ones((1, span))), cv2.dilate(level[None], np.ones((1, span)))
    low, high = (cv2.blur(part, (span, 1))[0] for part in (low, high))
    seen = (level - low) / np.maximum(high - low, 1e-6)
    widths = np.diff(knots) / np.diff(ends)
    wider = _EVEN ** np.rint(np.log(widths.mean() / widths) / np.log(_EVEN))
    return Fit(count, places, seen, _at(trust, places), _gaussian(_BLURS[1]), wider, 0.2)


def _modules(count: int) -> NDArray[np.float64]:
    return (np.arange(-QUIET * FINE, (count * CHARACTER + TAIL + QUIET) * FINE) + 0.5) / FINE


def _at(profile: Floats, places: NDArray[np.float64]) -> Floats:
    return np.interp(places, np.arange(len(profile)), profile).astype(np.float32)


def _eased(knots: NDArray[np.float64], ends: NDArray[np.float64]) -> NDArray[np.float64]:
    """Knots in whole steps, with the steps evened out: the smoothest line that stays near them."""
    even = np.interp(ends, ends[[0, -1]], knots[[0, -1]])
    return even + _smooth(np.eye(len(knots)), knots - even, 1.0)


def _smooth(basis: NDArray[np.float64], values: NDArray[np.float64], stiff: float) -> NDArray[np.float64]:
    """Weights of knots that make `values` of them, with second differences that are small."""
    bends = np.diff(np.eye(basis.shape[1]), 2, axis=0)
    return np.linalg.solve(basis.T @ basis + stiff * bends.T @ bends + 1e-6 * np.eye(basis.shape[1]), basis.T @ values)


def _gaussian(sigma: float) -> Floats:
    steps = np.arange(-_REACH * FINE, _REACH * FINE + 1)
    bell = np.exp(-0.5 * np.square(steps / (sigma * FINE)))
    return (bell / bell.sum()).astype(np.float32)


def _blurred(modules: Floats, blur: Floats) -> Floats:
    """Rows of modules, fine and blurred, `_REACH` modules wider at either side."""
    fine = np.repeat(modules, FINE, axis=-1)
    fine = np.pad(fine, ((0, 0), (_REACH * FINE, _REACH * FINE)))
    return cv2.filter2D(fine, -1, blur[None, ::-1].copy(), borderType=cv2.BORDER_CONSTANT)


def _marks(fit: Fit) -> tuple[Floats, Floats]:
    """For each place, what each character looks like there (places × 106 × samples); and the stop."""
    marks = {wider: _looks(fit.blur.tobytes(), wider) for wider in set(fit.wider.tolist())}
    if len(marks) == 1:
        ((mark, stop),) = marks.values()
        return np.broadcast_to(mark, (fit.count, *mark.shape)), stop
    return np.stack([marks[wider][0] for wider in fit.wider[:-1]]), marks[fit.wider[-1]][1]


@lru_cache(maxsize=64)
def _looks(blur: bytes, wider: float) -> tuple[Floats, Floats]:
    """The characters and the stop as a blur leaves them that is so much wider here."""
    given = np.frombuffer(blur, np.float32)
    steps = np.arange(len(given)) - len(given) // 2
    here = np.interp(steps / wider, steps, given).astype(np.float32)
    here /= here.sum()
    return _blurred(PATTERNS, here), _blurred(STOP[None], here)[0]


def _spans(fit: Fit) -> NDArray[np.int64]:
    """Places × the samples that a character there reaches."""
    wide = CHARACTER * FINE
    return (QUIET - _REACH) * FINE + np.arange(fit.count)[:, None] * wide + np.arange(wide + 2 * _REACH * FINE)


def costs(fit: Fit) -> tuple[Floats, Floats]:
    """What each character costs at each place (N × 106), and what neighbours cost on top (N - 1 × 106 × 106), in nats.

    The squares between seen and should-be, over twice the noise squared; one module speaks as one independent sample.
    The square of a sum of characters has terms of one and of two neighbours, and no others: a blur reaches less far
    than a character.
    """
    marks, stop = _marks(fit)
    spans = _spans(fit)
    weight = fit.trust / (2 * FINE * fit.noise**2)
    left = fit.seen.copy()
    left[-len(stop) - (QUIET - _REACH) * FINE : -(QUIET - _REACH) * FINE] -= stop
    over = 2 * _REACH * FINE
    squares = np.square(marks) @ weight[spans][..., None]
    single = (squares - 2 * (marks @ (weight * left)[spans][..., None]))[..., 0]
    weighted = marks[:-1, :, -over:] * weight[spans[1:, :over]][:, None]
    return single, 2 * weighted @ marks[1:, :, :over].transpose(0, 2, 1)


def likeliest(single: Floats, pair: Floats) -> list[int]:
    """The cheapest path, whatever it spells: a start and then characters."""
    ahead = np.zeros(106, np.float32)
    after = []
    for place in range(len(single) - 1, 0, -1):
        step = single[place] + ahead
        step[103:] = np.inf
        both = pair[place - 1] + step
        after.append(both.argmin(1))
        ahead = both.min(1)
    first = 103 + int((single[0] + ahead)[103:].argmin())
    values = [first]
    for best in reversed(after):
        values.append(int(best[values[-1]]))
    return values


def should_be(fit: Fit, values: list[int]) -> Floats:
    """What would be seen of these characters and the stop."""
    marks, stop = _marks(fit)
    total = np.zeros_like(fit.seen)
    for value, mark, span in zip(values, marks, _spans(fit), strict=True):
        total[span] += mark[value]
    total[-len(stop) - (QUIET - _REACH) * FINE : -(QUIET - _REACH) * FINE] += stop
    return total


def worst(fit: Fit, values: list[int]) -> float:
    """The root mean square of what is left in the stretch that these characters and the stop explain worst.

    Stretches are the characters, what is trusted of them, and the two ends with their quiet zones.
    """
    left = fit.trust * np.square(fit.seen - should_be(fit, values))
    starts = np.append(0, (QUIET + np.arange(1, fit.count + 1) * CHARACTER) * FINE)
    left, sure = np.add.reduceat(left, starts), np.add.reduceat(fit.trust, starts)
    return float(np.sqrt((left / (sure + FINE)).max()))


def sharpest(fit: Fit) -> Fit:
    """The fit with the one of a few blurs that explains it best; from the sharpest on, until one explains it worse."""
    best = fit
    for sigma in _BLURS:
        one = replace(fit, blur=_gaussian(sigma))
        noise = _noise(one, should_be(one, likeliest(*costs(one))))
        if best is not fit and noise > best.noise:
            break
        best = replace(one, noise=noise)
    return best


def _noise(fit: Fit, ideal: Floats) -> float:
    """The root mean square that is left, not below what no model gets under."""
    return max(0.015, float(np.sqrt((fit.trust * np.square(fit.seen - ideal)).sum() / (fit.trust.sum() + 1e-6))))


def refine(fit: Fit, profile: Floats, trust: Floats, values: list[int]) -> Fit:
    """The fit again, with the light, the stretch and the blur that these characters ask for."""
    modules = _modules(fit.count)
    ideal = should_be(fit, values).astype(np.float64)
    slope = np.gradient(ideal) * FINE
    level = _at(profile, fit.places).astype(np.float64)
    knots = _hats(modules, CHARACTER)
    basis = np.concatenate([knots, knots * ideal[:, None], knots * slope[:, None]], 1)
    weight = np.sqrt(fit.trust)[:, None]
    spread = float(level.std()) + 1e-6
    found = _bent_least_squares(basis * weight, level / spread * weight[:, 0], (8.0, 8.0, 4.0))
    offset, gain, shift = np.split(found, 3)
    gain_at = np.maximum(knots @ gain, 0.1)
    moved = np.clip(-(knots @ shift) / gain_at, -0.5, 0.5)
    places = np.interp(modules + moved, modules, fit.places)
    seen = ((_at(profile, places) / spread - knots @ offset) / gain_at).astype(np.float32)
    fit = replace(fit, places=places, seen=seen, trust=_at(trust, places))
    if np.ptp(fit.wider) == 0:
        fit = replace(fit, blur=_blur_of(fit, values))
    ideal = should_be(fit, values).astype(np.float64)
    fit = replace(fit, trust=fit.trust * _belief(fit.seen - ideal))
    return replace(fit, noise=_noise(fit, ideal))


def _belief(left: Floats) -> Floats:
    """Less than 1 where much more is left than elsewhere: something lies on the print that is no row of characters."""
    near = cv2.blur(np.square(left)[None].astype(np.float32), (4 * FINE + 1, 1))[0]
    usual = 6 * float(np.median(near)) + 0.03**2
    return 1 / (1 + np.square(near / usual))


def _hats(modules: NDArray[np.float64], apart: float) -> NDArray[np.float64]:
    """Straight lines between knots some `apart` modules from each other: samples × knots."""
    count = max(2, round((modules[-1] - modules[0]) / apart) + 1)
    knots = np.linspace(modules[0], modules[-1], count)
    return np.maximum(0, 1 - np.abs(modules[:, None] - knots) / (knots[1] - knots[0]))


def _bent_least_squares(
    basis: NDArray[np.float64], values: NDArray[np.float64], stiffs: tuple[float, ...]
) -> NDArray[np.float64]:
    """Least squares with knots in as many groups as `stiffs`, each group as hard to bend as that says."""
    bend = np.diff(np.eye(basis.shape[1] // len(stiffs)), 2, axis=0)
    bends = np.kron(np.diag(stiffs), bend.T @ bend)
    return np.linalg.solve(basis.T @ basis + bends + 1e-3 * np.eye(len(bends)), basis.T @ values)


def _blur_of(fit: Fit, values: list[int]) -> Floats:
    """The blur that makes of these characters what is seen, near to the one before."""
    modules = np.concatenate([np.zeros(QUIET), PATTERNS[values].ravel(), STOP, np.zeros(QUIET)])
    fine = np.pad(np.repeat(modules, FINE), _REACH * FINE)
    basis = np.lib.stride_tricks.sliding_window_view(fine, 2 * _REACH * FINE + 1)[:, ::-1]
    rest = fit.seen - basis @ fit.blur.astype(np.float64)
    weight = np.sqrt(fit.trust)[:, None]
    size = basis.shape[1]
    bend = np.diff(np.eye(size), 2, axis=0)
    weighted = basis * weight
    stiff = len(fine) * 0.02
    change = np.linalg.solve(
        weighted.T @ weighted + stiff * bend.T @ bend + 0.5 * np.eye(size), weighted.T @ (rest * weight[:, 0])
    )
    blur = np.maximum(fit.blur + change, 0)
    return (blur / blur.sum()).astype(np.float32) if blur.any() else fit.blur
