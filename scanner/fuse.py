"""Fuse: several frames of one label that none of them shows well enough, laid over each other and made one picture."""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from scanner.decode import Image

MOST = 8
"""Crops kept: the newest."""
_MARGIN = 0.15
"""What is taken of the surroundings at each side, as a share of the region: room for the quiet zone and to align in."""
_LEAST, _LARGEST = 16, 480
"""Pixels along a crop's sides."""
BURNT = 247
"""The level from which a patch of pixels is burnt out."""
_ALIKE = 0.2
"""The least correlation with the crops before, blurred; below it another thing is in view."""
_BLUR = (0, 0), 1.5
_STEPS = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 12, 1e-3)

Picture = NDArray[np.float32]
Matrix = NDArray[np.float64]


@dataclass(slots=True)
class Stack:
    """Crops of one region from several frames, all laid as the first one was. Empty until `add`."""

    crops: list[Picture] = field(default_factory=list)
    weights: list[Picture] = field(default_factory=list)
    """How much each pixel of each crop counts: sharp crops more, burnt-out pixels next to nothing."""
    onto: Matrix = field(default_factory=lambda: np.eye(3))
    """From pixels of the newest frame to pixels of the crops."""

    def add(self, grey: Image, corners: NDArray[np.float64]) -> bool:
        """Lay the region of this frame (8-bit grey, corners 4 × 2 in pixels) over those before.

        False when it is not alike: then it is left out.
        """
        tall, wide = self.crops[0].shape if self.crops else _size(corners)
        onto = _upright(corners, wide, tall)
        crop = _warped(grey, onto, wide, tall)
        if self.crops:
            moved = _aligned(self.fused(), crop)
            if moved is None:
                return False
            onto = moved @ onto
            crop = _warped(grey, onto, wide, tall)
        self.onto = onto
        self.crops = [*self.crops[1 - MOST :], crop]
        self.weights = [*self.weights[1 - MOST :], _weight(crop)]
        return True

    def fused(self) -> Picture:
        """The mean of the crops by their weights: what glare hides in one is filled from the others."""
        total = sum(crop * weight for crop, weight in zip(self.crops, self.weights, strict=True))
        return np.asarray(total / sum(self.weights))

    def pictures(self) -> list[Image]:
        """The fused picture for a reader (8-bit grey), as it is and with what noise is left smoothed."""
        fused = self.fused()
        return [_eight_bit(fused), _eight_bit(cv2.GaussianBlur(fused, (0, 0), 1.2))]

    def in_frame(self, corners: NDArray[np.float64]) -> NDArray[np.float64]:
        """Corners (4 × 2) in the fused picture, as they lie in the newest frame."""
        return cv2.perspectiveTransform(corners[None], np.linalg.inv(self.onto))[0]


def _size(corners: NDArray[np.float64]) -> tuple[int, int]:
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    wide, tall = np.maximum(sides[:2], sides[2:]) * (1 + 2 * _MARGIN)
    scale = min(1.0, _LARGEST / max(wide, tall))
    return max(_LEAST, round(tall * scale)), max(_LEAST, round(wide * scale))


def _upright(corners: NDArray[np.float64], wide: int, tall: int) -> Matrix:
    """The way from a region's corners in a frame to an upright crop of this size, its margin included."""
    edge = _MARGIN / (1 + 2 * _MARGIN)
    share = np.array([[edge, edge], [1 - edge, edge], [1 - edge, 1 - edge], [edge, 1 - edge]])
    flat = share * (wide, tall) - 0.5
    return cv2.getPerspectiveTransform(corners.astype(np.float32), flat.astype(np.float32))


def _warped(grey: Image, onto: Matrix, wide: int, tall: int) -> Picture:
    flat = cv2.warpPerspective(grey, onto, (wide, tall), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return flat.astype(np.float32)


def _aligned(before: Picture, crop: Picture) -> Matrix | None:
    """How a crop is moved so that it lies over what was before: whole pixels first, then parts of them."""
    before, blurred = _glareless(before), _glareless(crop)
    tall, wide = before.shape
    v, u = int(tall * _MARGIN / 2), int(wide * _MARGIN / 2)
    found = cv2.matchTemplate(blurred, before[v : tall - v, u : wide - u], cv2.TM_CCOEFF_NORMED)
    _, alike, _, (left, top) = cv2.minMaxLoc(found)
    if alike < _ALIKE:
        return None
    start = np.array([[1, 0, left - u], [0, 1, top - v]], dtype=np.float32)
    try:
        _, found = cv2.findTransformECC(before, blurred, start, cv2.MOTION_AFFINE, _STEPS, None, 1)
    except cv2.error:  # it finds no way to make them more alike
        found = start
    return np.linalg.inv(np.vstack([found, [0, 0, 1]]))


def _weight(crop: Picture) -> Picture:
    blurred = cv2.GaussianBlur(crop, *_BLUR)
    sharpness = cv2.Laplacian(blurred, cv2.CV_32F).var() + 1e-6
    return np.where(_burnt(blurred), 1e-3, 1.0).astype(np.float32) * np.float32(sharpness)


def _glareless(crop: Picture) -> Picture:
    """The crop without its noise, and evened where it is burnt out: glare does not move as the label does."""
    blurred = cv2.GaussianBlur(crop, *_BLUR)
    burnt = _burnt(blurred)
    if not burnt.all():
        blurred[burnt] = blurred[~burnt].mean()
    return blurred


def _burnt(blurred: Picture) -> NDArray[np.bool_]:
    return cv2.dilate((blurred >= BURNT).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0


def _eight_bit(picture: Picture) -> Image:
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)
