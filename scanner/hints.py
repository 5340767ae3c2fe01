"""Hints: why a region that is seen is not read, as far as it can be measured, and what the hand can do about it."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scanner.decode import Image
from scanner.fuse import BURNT

GLARE = "Less glare: tilt it away from the lamp."
LIGHT = "More light: the print hardly stands out."
CLOSER = "Closer: it is too small in the picture."
STILL = "Hold it still, and in focus."
FLATTER = "Flatter: hold it square to the camera, and smooth the wrap."

_GLARE_SHARE = 0.027
"""Half of stock reads of a QR code fail with this much of it burnt out."""
_CONTRAST = 30.0
"""Levels between ink and paper: twice what half of stock reads bear, 11 and 14."""
_PIXELS = 1.8
"""Pixels a module: half of stock reads bear 1.4, held still."""
_SQUARE, _BARS = 21, 211
"""Modules along a pack's symbols: its QR code (version 1) and its Code 128 (sixteen characters, set B)."""
_LONG = 4.0
"""How many times longer than wide a region is that must be bars."""
_LEAN = 1.3
"""How many times longer than the opposite side a side may be, and how much longer than wide a square."""
_NOISE = 0.09
"""Noise, as a share of ink to paper, where half of stock reads of a Code 128 fail; of a QR code 0.2."""
_EDGES = 0.13
"""The Laplacian's deviation of ink and paper a module apart: 0.17 in focus, 0.1 where half of stock reads fail."""
_ONE_WAY = 0.75
"""Edges across over edges along, in a square: 0.9 in focus, 0.65 where motion makes half of stock reads fail."""
_NOISE_ALONE = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32)
"""Sees no straight edge, and noise of deviation 1 with one of 6 (Immerkær, 1996)."""


def hint(grey: Image, corners: NDArray[np.float64]) -> str:
    """What to do so that the region (corners 4 × 2 in pixels, clockwise) of this frame (8-bit grey) can be read.

    The limits are those of the made corpus in the tests; what nothing measured explains is crinkled or bent.
    """
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    wide, tall = np.maximum(sides[:2], sides[2:])
    less, more = sorted((wide, tall))
    square = more <= _LONG * less
    pixels = more / (_SQUARE if square else _BARS)
    raw = _upright(grey, corners, max(8, round(wide)), max(8, round(tall)))
    flat = cv2.GaussianBlur(raw, (0, 0), 1.0)
    ink, paper = np.percentile(flat, (5, 95))
    if (flat >= BURNT).mean() > _GLARE_SHARE and ink < BURNT:
        return GLARE
    if paper - ink < _CONTRAST:
        return LIGHT
    if (sides / np.roll(sides, 2)).max() > _LEAN or (square and more > _LEAN * less):
        return FLATTER
    if pixels < _PIXELS:
        return CLOSER
    if _noise(raw) > _NOISE * (paper - ink):
        return LIGHT
    edges = cv2.Laplacian(flat, cv2.CV_32F).std() / (paper - ink) * np.sqrt(pixels)
    return STILL if edges < _EDGES or (square and _one_way(flat) < _ONE_WAY) else FLATTER


def _upright(grey: Image, corners: NDArray[np.float64], wide: int, tall: int) -> NDArray[np.float32]:
    square = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], dtype=np.float32)
    onto = cv2.getPerspectiveTransform(corners.astype(np.float32), square.astype(np.float32))
    # to the nearest pixel: its noise is the frame's
    return cv2.warpPerspective(grey, onto, (wide, tall), flags=cv2.INTER_NEAREST).astype(np.float32)


def _noise(flat: NDArray[np.float32]) -> float:
    """Noise in levels, of a picture whose edges are upright or level."""
    return float(np.median(np.abs(cv2.filter2D(flat, -1, _NOISE_ALONE)))) / 0.6745 / 6


def _one_way(flat: NDArray[np.float32]) -> float:
    """The weakest edges over the strongest, of all ways one may look: less than 1 where motion has smeared them."""
    x, y = (cv2.Sobel(flat, cv2.CV_32F, *way) for way in ((1, 0), (0, 1)))
    weak, strong = np.linalg.eigvalsh(np.cov(x.ravel(), y.ravel()))
    return float(np.sqrt(max(weak, 0) / max(strong, 1e-9)))
