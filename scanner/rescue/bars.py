"""Code 128 that stock readers give up on: found by the direction of its bars, read as an inverse problem.

A region becomes a profile across its bars; the profile is held against rows of characters, blurred and stretched as
the profile itself asks for; the likeliest row that holds every check is the text, if no other row comes near.
"""

import time
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from label_templates.codes import is_code
from scanner.rescue import fit as fitting
from scanner.rescue.bands import line, straighten, unwrinkled
from scanner.rescue.bars_find import find
from scanner.rescue.code128 import own_codes, paths, spell
from scanner.rescue.pace import guess, pace
from scanner.rescue.reading import Reading

__all__ = ["find", "read"]

Image = NDArray[np.uint8]
Floats = NDArray[np.float32]
_MARGIN = 12.0
"""Nats by which the text must be likelier than any other that holds its checks."""
_NOISIEST = 0.26
"""Noise, in units of the contrast, above which nothing is believed."""
_ARCS = (135, 165, 178)
"""Degrees of a roll that a symbol's width may cover, where it covers too much to be read as if it lay flat."""
_PATHS = 2
_UNLIKELY = 0.34
"""The cost of a path above which there are no characters."""


@dataclass(frozen=True, slots=True)
class _Line:
    """A way to look at a region: a profile, how much of it is to be trusted, where its samples lie among the bands'."""

    how: str
    profile: Floats
    trust: Floats
    places: NDArray[np.float64]


def read(grey: Image, corners: NDArray[np.float64], until: float) -> Reading | None:
    """The Code 128 in one region of a grey picture, or None; stops at `until` (seconds, time.monotonic)."""
    bands = straighten(grey, corners)
    if bands is None:
        return None
    for one in _lines(bands.levels):
        for turned, knots in _likely(one):
            if time.monotonic() > until:
                return None
            step = -1 if turned else 1
            text = _text(one.profile[::step], one.trust[::step], knots)
            if text:
                ends = np.interp(knots[[0, -1]], np.arange(len(one.places)), one.places[::step])
                return Reading(text, bands.corners(*ends), one.how)
    return None


def _lines(levels: Floats) -> Iterator[_Line]:
    """The ways to look at a region, the most promising first."""
    places = np.arange(levels.shape[1], dtype=np.float64)
    profile, trust = line(levels)
    yield _Line("bars", profile, trust, places)
    yield _Line("bars, unwrinkled", *line(unwrinkled(levels)), places)
    first, last = _ends(profile)
    for arc in _ARCS:
        half = np.deg2rad(arc / 2)
        middle, radius = (first + last) / 2, (last - first) / 2 / np.sin(half)
        reach = np.arcsin(np.clip((places[[0, -1]] - middle) / radius, -0.999, 0.999))
        bent = middle + radius * np.sin(np.linspace(*reach, len(places)))
        yield _Line(
            "bars, unrolled", *(np.interp(bent, places, part).astype(np.float32) for part in (profile, trust)), bent
        )


def _ends(profile: Floats) -> tuple[int, int]:
    """The first and the last sample of the longest busy stretch."""
    window = len(profile) // 28 | 1
    busy = cv2.blur(np.square(np.diff(profile))[None], (window, 1))
    seen = (busy > 0.15 * np.percentile(busy, 60)).astype(np.uint8)
    seen = cv2.morphologyEx(seen, cv2.MORPH_CLOSE, np.ones((1, window), np.uint8))[0]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], seen, [0]]).astype(int))).reshape(-1, 2)
    first, last = edges[np.ptp(edges, axis=1).argmax()] if len(edges) else (0, len(profile))
    return int(first) + window // 2, max(int(last) - window // 2, int(first) + window // 2 + 8)


def _likely(one: _Line) -> Iterator[tuple[bool, NDArray[np.float64]]]:
    """(whether turned round, knots): where the characters may lie, the cheapest first."""
    module = guess(one.profile)
    if not module:
        return
    for narrower in (1, 0.6):
        both = [
            (path, turned)
            for turned in (False, True)
            for path in pace(one.profile[:: -1 if turned else 1], module * narrower)
        ]
        both.sort(key=lambda path: path[0].cost)
        for path, turned in both[:_PATHS]:
            if path.cost > _UNLIKELY:
                break
            yield turned, path.knots


def _text(profile: Floats, trust: Floats, knots: NDArray[np.float64]) -> str | None:
    fit = fitting.sharpest(fitting.start(profile, trust, knots))
    for _ in range(3):
        fit = fitting.refine(fit, profile, trust, fitting.likeliest(*fitting.costs(fit)))
    if fit.noise > _NOISIEST:
        return None
    found, missing = paths(*fitting.costs(fit), own_codes(), 3 * _MARGIN)
    best: tuple[str, float] | None = None
    for path in found:
        text = spell(path.values)
        if text is None or not is_code(text) or (best and best[0] == text):
            continue
        if best:
            missing = min(missing, path.cost)
            break
        best = text, path.cost
    return best[0] if best and missing - best[1] > _MARGIN else None
