"""Code 128 that stock readers give up on: found by the direction of its bars, read as an inverse problem.

A region becomes a profile across its bars; the profile is held against rows of characters, blurred and stretched as
the profile itself asks for; the likeliest row that holds every check is the text, if no other row comes near.
"""

from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from label_templates.codes import LETTERS, is_code
from scanner.rescue import fit as fitting
from scanner.rescue.bands import halves, line, straighten, unwrinkled
from scanner.rescue.bars_find import find
from scanner.rescue.code128 import Path, Spelling, any_text, freedom, own_codes, paths, spell
from scanner.rescue.fit import Fit
from scanner.rescue.pace import SOFT, UNEVEN, Way, guess, pace
from scanner.rescue.reading import Going, Reading, in_time

__all__ = ["find", "read", "tries"]

Image = NDArray[np.uint8]
Floats = NDArray[np.float32]
_MARGIN = 12.0
"""Nats by which the text must be likelier than any other that holds its checks."""
_NOISIEST = (0.22, 0.18, 0.16)
"""Noise, in units of the contrast, above which a fit is given up before it is refined once, twice, a third time."""
_CLEAR = 0.12
"""Noise up to which a fit may be of a foreign text, or of a code of ours whose start is hidden: those with fewer to
bear witness."""
_SETTLED = 0.95
"""Share of its noise that a refined fit must lose to be refined again."""
_DEARER = 0.5
"""Nats by which a foreign text may be less likely than a row of characters that means nothing."""
_WORST = 0.2
"""What may be left of any one character, in units of the contrast: a wrong one on clear print leaves 0.3 and more."""
_WORST_FOREIGN = 0.15
"""The same of a foreign text, which has one check only: those read on photographs leave 0.12 at most."""
_BESIDE = 2
"""Characters by which bars may go on beside a foreign symbol: 1.1 on photographs, 3 beside a reflection."""
_RESTORED = 8.0
"""Bits of a code that may be hidden: of the 11.9 that its two checks add, the rest must still bear witness."""
_ROLLS = ((155, 0.0), (150, 0.0), (155, 0.004), (160, 0.008))
"""Rolls that are tried, see `_unrolled`: of 24 labels each, 23 and more were read round 140° to 170°, 22 round 180°,
and 13 round 184°, whose ends are out of sight."""
_PATHS, _FEWEST = 3, 45
"""Ways to lay characters that are tried, and modules of the shortest symbol: a start, a character, a check, a stop."""
_PLAIN, _UNLIKELY, _NONE = 0.17, 0.34, 0.42
"""The cost of a path below which it is plain that characters lie so; above which they do not; and above which there are
none, however one looks. Of the made corpus' Code 128 that were read in the end, none cost more than 0.28 at first; of
symbols of six other kinds and of photographs without a code, none cost less than 0.19."""


@dataclass(frozen=True, slots=True)
class _Look:
    """A way to look at a region: the levels of its bands, and the line they make with how far it is to be trusted."""

    how: str
    levels: Floats
    places: NDArray[np.float64]
    """Where the samples lie in the region as it was found."""
    profile: Floats
    trust: Floats

    def turned(self) -> "_Look":
        """The same, half a turn further."""
        return _Look(self.how, self.levels[::-1, ::-1], self.places[::-1], self.profile[::-1], self.trust[::-1])


def _look(how: str, levels: Floats, places: NDArray[np.float64]) -> _Look:
    return _Look(how, levels, places, *line(levels))


def read(grey: Image, corners: NDArray[np.float64], until: float) -> Reading | None:
    """The Code 128 in one region of a grey picture, or None; stops at `until` (seconds, monotonic). See `tries`."""
    return in_time(tries(grey, corners), until)


def tries(grey: Image, corners: NDArray[np.float64]) -> Iterator[Reading | Going | None]:
    """The Code 128 in one region of a grey picture, or None, as often as there is something more to be tried.

    A reading without a text is a Code 128 surely, by how its characters lie, that could not be read. A try goes on in
    steps of some milliseconds.
    """
    bands = straighten(grey, corners)
    if bands is None:
        return
    best = 1.0
    for look, narrower, way in _looks(bands.levels):
        yield Going.ON
        for cost, one, knots in _likely(look, narrower, way):
            best = min(best, cost)
            seen = (yield from _text(one, knots)) if cost < _UNLIKELY else None
            if seen:
                text, restored = seen
                ends = np.interp(knots[[0, -1]], np.arange(len(one.places)), one.places)
                how = f"{one.how}, {restored} of {len(knots) - 2} characters restored" if restored else one.how
                yield Reading(text, bands.corners(*ends), how)
            yield Reading("", bands.corners(*_ends(line(bands.levels)[0])), "unread") if cost < _PLAIN else None
        if best > _NONE:
            return


def _looks(levels: Floats) -> Iterator[tuple[_Look, float, Way]]:
    """The ways to look at a region, the most promising first; how much narrower than guessed, and what is expected.

    Where a blur hides the narrowest bars, the guess takes others for them.
    """
    places = np.arange(levels.shape[1], dtype=np.float64)
    flat = _look("bars", levels, places)
    ends, module = _ends(flat.profile), guess(flat.profile)
    if not module or ends[1] - ends[0] < _FEWEST * module:
        return
    yield flat, 1, Way()
    yield flat, 0.6, Way(whole=True, uneven=UNEVEN)
    for roll in _ROLLS[:2]:
        yield _unrolled(levels, ends, *roll), 1, Way(whole=True)
    yield flat, 0.6, Way(soft=SOFT, whole=True, uneven=UNEVEN)
    yield _look("bars, unwrinkled", unwrinkled(levels), places), 1, Way(uneven=UNEVEN)
    for roll in _ROLLS[2:]:
        yield _unrolled(levels, ends, *roll), 1, Way(whole=True)
    yield flat, 1, Way(uneven=UNEVEN)
    third = len(levels) // 3
    if third >= 2:
        for first in (0, len(levels) - third, third):
            yield _look("bars, a part", levels[first : first + third], places), 1, Way(uneven=UNEVEN)


def _unrolled(levels: Floats, ends: tuple[int, int], arc: float, spare: float) -> _Look:
    """The bands of a symbol that covers `arc` degrees of a roll, from one of its `ends` to the other, laid flat.

    `spare` is the share of its width by which it reaches further than can be seen.
    """
    places = np.arange(levels.shape[1], dtype=np.float64)
    middle, side = (ends[0] + ends[1]) / 2, (ends[1] - ends[0]) * (0.5 + spare)
    radius = side / np.sin(np.deg2rad(arc / 2))
    reach = np.arcsin(np.clip((places[[0, -1]] - middle) / radius, -0.999, 0.999))
    bent = middle + radius * np.sin(np.linspace(*reach, len(places)))
    flat = np.stack([np.interp(bent, places, band) for band in levels]).astype(np.float32)
    return _look("bars, unrolled", flat, bent)


def _ends(profile: Floats) -> tuple[int, int]:
    """The first and the last sample of the longest busy stretch."""
    window = len(profile) // 28 | 1
    busy = cv2.blur(np.square(np.diff(profile))[None], (window, 1))
    seen = (busy > 0.15 * np.percentile(busy, 60)).astype(np.uint8)
    seen = cv2.morphologyEx(seen, cv2.MORPH_CLOSE, np.ones((1, window), np.uint8))[0]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], seen, [0]]).astype(int))).reshape(-1, 2)
    first, last = edges[np.ptp(edges, axis=1).argmax()] if len(edges) else (0, len(profile))
    return int(first) + window // 2, max(int(last) - window // 2, int(first) + window // 2 + 8)


def _likely(look: _Look, narrower: float, way: Way) -> Iterator[tuple[float, _Look, NDArray[np.float64]]]:
    """(cost, the look as it is or turned round, knots): where the characters may lie in it, the cheapest first.

    Where it is plain which way round they lie, the other is tried no more than need be.
    """
    module = guess(look.profile) * narrower
    if not module:
        return
    left: list[tuple[float, _Look, NDArray[np.float64]]] = []
    for one in (look, look.turned()):
        found = pace(one.profile, module, way)
        ways = [(path.cost, one, path.knots) for path in found]
        if ways and ways[0][0] < _PLAIN:
            yield ways.pop(0)
        left += ways
    yield from sorted(left, key=lambda way: way[0])[:_PATHS]


def _text(look: _Look, knots: NDArray[np.float64]) -> Generator[Going, None, tuple[str, int] | None]:
    """The text in a look whose characters lie at `knots`, and how many of these are hidden; in a few steps.

    A code of ours is believed if both its checks hold and no other such code comes near it; another text if every
    character is seen, and seen alike in one half of the scan lines and in the other.
    """
    fit = yield from _fitted(look.profile, look.trust, knots)
    if fit is None:
        return None
    own = _own(fit)
    if own or fit.noise > _CLEAR:
        return own
    yield Going.ON
    text = _foreign(fit)
    if text:
        if not _whole(look.profile, knots):
            return None
        for half in halves(look.levels, look.trust):
            seen = yield from _fitted(*half, knots)
            if _foreign(seen) != text:
                return None
        return text, 0
    before = 2 * knots[0] - knots[1]
    seen = yield from _fitted(
        look.profile, look.trust * (np.arange(len(look.trust)) >= knots[0]), np.append(before, knots)
    )
    return _own(seen) if seen else None


def _own(fit: Fit) -> tuple[str, int] | None:
    """The code of ours in a fit, and how many of its characters are hidden."""
    text = _only(fit, own_codes(), is_code, 2 * _MARGIN)
    return (text, int(fit.hidden().sum())) if text else None


def _foreign(fit: Fit | None) -> str | None:
    """The text that is not like ours, if every character of it is seen."""
    return _only(fit, any_text(), _is_foreign, _DEARER, _WORST_FOREIGN) if fit and not fit.hidden().any() else None


def _whole(profile: Floats, knots: NDArray[np.float64]) -> bool:
    """Whether bars go on before a start or after a stop no further than print beside a symbol may look like bars.

    What is left of a symbol beside a reflection may look like a whole one.
    """
    first, last = _ends(profile)
    spare = _BESIDE * (knots[1] - knots[0])
    return bool(first > knots[0] - spare and last < knots[-1] + spare)


def _is_foreign(text: str) -> bool:
    """Whether a text is not like ours: ours must hold their own check."""
    return len(text) > 1 and not (text[0] in LETTERS and text[1] == "-")


def _fitted(profile: Floats, trust: Floats, knots: NDArray[np.float64]) -> Generator[Going, None, Fit | None]:
    """The fit of a profile; None as soon as it is plain that it is none of a row of characters at `knots`."""
    fit = fitting.sharpest(fitting.start(profile, trust, knots))
    for most in _NOISIEST:
        yield Going.ON
        if fit.noise > most:
            return None
        before = fit.noise
        fit = fitting.refine(fit, profile, trust, fitting.likeliest(*fitting.costs(fit)))
        if fit.noise > _SETTLED * before:
            break
    yield Going.ON
    return fit


def _only(
    fit: Fit, spelling: Spelling, valid: Callable[[str], bool], dearer: float, worst: float = _WORST
) -> str | None:
    """The valid text that is likelier by far than any other, and at most `dearer` than whatever is likeliest.

    `worst` is what may be left of any character of it.
    """
    known = paths(*fitting.costs(fit), spelling, 3 * _MARGIN)
    best: tuple[str, Path] | None = None
    next_cost = known.limit
    for path in known.found:
        text = spell(path.values)
        if text is None or not valid(text) or (best and best[0] == text):
            continue
        if best:
            next_cost = min(next_cost, path.cost)
            break
        best = text, path
    if best is None or next_cost - best[1].cost < _MARGIN or best[1].cost - known.least > dearer:
        return None
    text, path = best
    if freedom(spelling, path)[fit.hidden()].sum() > _RESTORED:
        return None
    return text if fitting.worst(fit, [*path.values, path.check]) < worst else None
