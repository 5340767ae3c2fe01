"""Aim: how well a label lies before the camera, in numbers that a person can act on."""

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from scanner.decode import Image, Sighting

BURNT = 250
"""Grey level from which a pixel counts as burnt out: nothing printed there can be told from the paper."""
UNSEEN_PX = 4.0
_QUIET = 4
"""Modules of paper round a QR code (ISO/IEC 18004) that are looked at with it, for light and glare."""


@dataclass(frozen=True, slots=True)
class Aim:
    """What one frame shows of a label, or of its middle where no label is found.

    `sharpness`: the variance of the Laplacian over that of the grey levels, times the square of a module's pixels:
    free of light, contrast and distance. Where no label is found, a module is taken to be `UNSEEN_PX` wide.
    `light`, `contrast`: grey level of the paper, and from ink to paper. `glare`: share of burnt-out pixels, 0 to 1.
    `module_px`: pixels to a module; None without a label. `corners`: 4 × 2, pixels.
    """

    sharpness: float
    light: float
    contrast: float
    glare: float
    module_px: float | None = None
    corners: NDArray[np.float64] | None = None


def aim(image: Image, sightings: Iterable[Sighting]) -> Aim:
    """How the largest of the labels seen lies in an 8-bit picture."""
    grey = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    seen = max(sightings, key=lambda one: (one.symbology == "QR", _area(one)), default=None)
    part = _middle(grey) if seen is None else _round(grey, seen)
    ink, paper = np.percentile(part, (5, 95))
    laplacian = cv2.Laplacian(cv2.GaussianBlur(part, (3, 3), 0), cv2.CV_32F)
    pixels = UNSEEN_PX if seen is None else module_px(seen)
    return Aim(
        sharpness=float(laplacian.var() / max(1.0, float(part.var()))) * pixels**2,
        light=float(paper),
        contrast=float(paper - ink),
        glare=float((part >= BURNT).mean()),
        module_px=None if seen is None else pixels,
        corners=None if seen is None else seen.corners,
    )


def module_px(seen: Sighting) -> float:
    """Pixels to a module of one of our codes.

    A QR code of up to 16 characters is version 1 at level Q with 21 modules, else version 2 with 25 (ISO/IEC 18004).
    Code 128 has 11 modules a character, start and check and 13 to stop (ISO/IEC 15417); pairs of digits may take fewer.
    """
    if seen.symbology == "QR":
        sides = np.linalg.norm(seen.corners - np.roll(seen.corners, 1, axis=0), axis=1)
        return float(sides.mean()) / (21 if len(seen.text) <= 16 else 25)
    wide = np.linalg.norm(seen.corners[[1, 2]] - seen.corners[[0, 3]], axis=1).mean()
    return float(wide) / (11 * (len(seen.text) + 2) + 13)


def _area(seen: Sighting) -> float:
    return float(cv2.contourArea(seen.corners.astype(np.float32)))


def _middle(grey: Image) -> Image:
    tall, wide = grey.shape
    return grey[tall // 4 : max(tall // 4 + 1, 3 * tall // 4), wide // 4 : max(wide // 4 + 1, 3 * wide // 4)]


def _round(grey: Image, seen: Sighting) -> Image:
    """The part of a picture with the label in it, and the paper round it."""
    rim = _QUIET * max(1.0, module_px(seen))
    left, top = np.maximum(seen.corners.min(axis=0) - rim, 0).astype(int)
    right, bottom = np.minimum(seen.corners.max(axis=0) + rim, (grey.shape[1], grey.shape[0])).astype(int)
    return grey[top : max(top + 1, bottom), left : max(left + 1, right)]
