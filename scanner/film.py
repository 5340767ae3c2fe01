"""Film: the other direction. Pictures of labels, held by a hand before a bench camera, written as video."""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from scanner.decode import Image

MOVING, HELD = 3, 6
SHORT_GAP, LONG_GAP = 2, 13
"""Empty frames after a label; the long gap lets the same label be shown again (0.8 s at 15 frames a second)."""
_NOISES = 6


class FilmError(Exception):
    """A video that cannot be written."""


class Film:
    """A bench camera's video. Deterministic by its seed."""

    def __init__(self, path: Path, size: tuple[int, int] = (960, 540), fps: int = 15, seed: int = 1) -> None:
        self.fps = fps
        self.frames = 0
        self._size = size
        self._rng = np.random.default_rng(seed)
        self._writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), fps, size)
        if not self._writer.isOpened():
            raise FilmError(f"the video {path} cannot be written: check the folder and the space on the disk")
        self._light = _light(size, self._rng)
        self._bench = (_bench(size, self._rng) * self._light[..., None]).astype(np.uint8)
        shape = (size[1], size[0], 3)
        self._noise = [self._rng.normal(0, 4, shape).astype(np.int16) for _ in range(_NOISES)]
        self._last = ""

    def show(self, picture: NDArray[np.uint8], code: str) -> int:
        """A hand brings this label (8-bit grey) in, holds it, and takes it away. The number of the first frame.

        The same label twice running gets a longer gap between.
        """
        if code == self._last:
            self.empty(LONG_GAP - SHORT_GAP)
        first, self._last = self.frames, code
        wide, tall = self._size
        scale = float(self._rng.uniform(0.72, 0.95)) * min(1.0, 470 / picture.shape[1])
        aim = np.array([wide * self._rng.uniform(0.42, 0.58), tall * self._rng.uniform(0.42, 0.55)])
        tilt = self._rng.uniform(-12, 12)
        lean = self._rng.uniform(-0.09, 0.09, (4, 2))
        start = np.array([wide * 1.1, tall * self._rng.uniform(0.5, 1.0)])
        for step in range(MOVING):
            self._frame(picture, start + (aim - start) * (step + 0.5) / MOVING, scale, tilt, lean, blur=7)
        for _ in range(HELD):
            self._frame(
                picture, aim + self._rng.normal(0, 1.2, 2), scale, tilt + self._rng.normal(0, 0.3), lean, blur=3
            )
        for step in range(MOVING):
            self._frame(picture, aim + (start - aim) * (step + 0.5) / MOVING, scale, tilt, lean, blur=7)
        self.empty(SHORT_GAP)
        return first

    def empty(self, count: int) -> None:
        """The bench with nothing on it."""
        for _ in range(count):
            self._write(self._bench.copy())

    def close(self) -> None:
        self._writer.release()

    def _frame(
        self, picture: NDArray[np.uint8], at: NDArray[np.float64], scale: float, tilt: float, lean: NDArray[np.float64],
        *, blur: int,
    ) -> None:  # fmt: skip
        frame = self._bench.copy()
        tall, wide = picture.shape
        flat = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], dtype=np.float64)
        middle = np.array([wide / 2, tall / 2])
        turn = np.deg2rad(tilt)
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        corners = ((flat - middle) * (1 + lean)) @ spin.T * scale + at
        low = np.floor(corners.min(axis=0)).astype(int) - 12
        high = np.ceil(corners.max(axis=0)).astype(int) + 12
        left, top = np.maximum(low, 0)
        right, bottom = np.minimum(high, self._size)
        self._hand(frame, corners)
        if right - left > 8 and bottom - top > 8:
            self._lay(frame[top:bottom, left:right], picture, flat, corners - (left, top), (left, top), blur)
        self._thumb(frame, corners)
        self._write(frame)

    def _lay(
        self, region: Image, picture: NDArray[np.uint8], flat: NDArray[np.float64], corners: NDArray[np.float64],
        offset: tuple[int, int], blur: int,
    ) -> None:  # fmt: skip
        matrix = cv2.getPerspectiveTransform(flat.astype(np.float32), corners.astype(np.float32))
        size = (region.shape[1], region.shape[0])
        left, top = offset
        light = self._light[top : top + size[1], left : left + size[0], None]
        paper = cv2.warpPerspective(picture, matrix, size, flags=cv2.INTER_AREA, borderValue=0)
        cover = cv2.warpPerspective(np.full_like(picture, 255), matrix, size, flags=cv2.INTER_LINEAR, borderValue=0)
        grey = cv2.GaussianBlur(paper, (blur, blur), 0)
        shade = (grey[..., None].astype(np.float32) * 0.82 + 18) * light
        share = (cover[..., None] / np.float32(255)).astype(np.float32)
        region[:] = (region * (1 - share) + shade * share).astype(np.uint8)

    def _hand(self, frame: Image, corners: NDArray[np.float64]) -> None:
        wrist = corners[2] + (90, 60)
        elbow = wrist + np.array([[220, 160], [260, -60]])
        arm = np.vstack([corners[1:3], elbow]).astype(np.int32)
        cv2.fillConvexPoly(frame, arm, (148, 172, 120), cv2.LINE_AA)

    def _thumb(self, frame: Image, corners: NDArray[np.float64]) -> None:
        middle = tuple(int(v) for v in corners[2] + (10, 8))
        cv2.ellipse(frame, middle, (34, 20), 35, 0, 360, (132, 158, 108), -1, cv2.LINE_AA)

    def _write(self, frame: Image) -> None:
        noise = self._noise[self.frames % _NOISES]
        self._writer.write(cv2.add(frame, noise, dtype=cv2.CV_8U))
        self.frames += 1


def _light(size: tuple[int, int], rng: np.random.Generator) -> NDArray[np.float32]:
    """Uneven light: a bright side, a dark corner, a lamp's soft spot; factors between about 0.6 and 1.1."""
    x, y = np.meshgrid(np.linspace(-1, 1, size[0]), np.linspace(-1, 1, size[1]))
    slope = rng.uniform(-0.15, 0.15) * x + rng.uniform(-0.12, 0.12) * y
    lamp = 0.18 * np.exp(-((x - rng.uniform(-0.6, 0.6)) ** 2 + (y - rng.uniform(-0.6, 0.6)) ** 2) / 0.3)
    return np.clip(0.84 + slope + lamp, 0.55, 1.12).astype(np.float32)


def _bench(size: tuple[int, int], rng: np.random.Generator) -> NDArray[np.float32]:
    """A steel bench: brushed grey in one direction."""
    lines = rng.normal(0, 7, (size[1], 1)) + rng.normal(0, 3, (size[1], size[0]))
    steel = cv2.GaussianBlur(lines.astype(np.float32), (31, 1), 0) + 128
    return np.dstack([steel + 6, steel + 2, steel - 2]).astype(np.float32)
