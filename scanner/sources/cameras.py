"""Webcams by V4L2: opened with a size, focus and exposure that suit a bench, and what each of them can do."""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2

from scanner.decode import Image
from scanner.sources.live import Live
from scanner.sources.source import SourceError

DEVICES = Path("/dev")
NAMES = Path("/sys/class/video4linux")
SIZES = ((640, 480), (1280, 720), (1920, 1080), (3840, 2160))
_AUTO_EXPOSURE, _MANUAL_EXPOSURE = 3, 1
"""V4L2_EXPOSURE_APERTURE_PRIORITY and V4L2_EXPOSURE_MANUAL: linux/v4l2-controls.h."""


@dataclass(frozen=True, slots=True)
class Wish:
    """How a camera is asked to be. `focus` and `exposure` are the camera's own units; None leaves them to it."""

    wide: int = 1280
    tall: int = 720
    fps: int = 30
    focus: int | None = None
    exposure: int | None = None


@dataclass(frozen=True, slots=True)
class Mode:
    """What a camera really gives."""

    wide: int
    tall: int
    fps: float
    form: str

    def __str__(self) -> str:
        return f"{self.wide} × {self.tall}, {self.fps:.0f} a second, {self.form or 'form unknown'}"


def number_of(spec: str) -> int | None:
    """The camera that a number, or a path such as /dev/video0 or one of /dev/v4l/by-id, names; None for all else."""
    if spec.isdecimal():
        return int(spec)
    if not spec.startswith(f"{DEVICES}/"):
        return None
    name = Path(spec).resolve().name
    return int(name.removeprefix("video")) if name.startswith("video") and name[5:].isdecimal() else None


def open_camera(spec: str, wish: Wish) -> Any:
    """The camera, opened and set up as wished: a cv2.VideoCapture. Raises SourceError saying what is in the way."""
    name, number = f"camera {spec}", number_of(spec)
    device = DEVICES / f"video{number}"
    if number is None or not device.exists():
        raise SourceError(f"{name} is not there: plug it in, or see which there are with  foldmark doctor --camera")
    if not os.access(device, os.R_OK | os.W_OK):
        raise SourceError(f"{name} may not be used by this account: add it to the group video")
    capture = cv2.VideoCapture(number, cv2.CAP_V4L2)
    if not capture.isOpened():
        capture.release()
        raise SourceError(f"{name} does not open, something else may use it: close that, or take another number")
    set_up(capture, wish)
    return capture


def set_up(capture: Any, wish: Wish) -> None:
    """Ask for the wish. Compressed pictures come first: raw ones of this size do not pass through USB 2 at 30 a second.

    One frame in the buffer, so that what is read is what lies on the bench. A camera passes over what it cannot do.
    """
    capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
    capture.set(cv2.CAP_PROP_FRAME_WIDTH, wish.wide)
    capture.set(cv2.CAP_PROP_FRAME_HEIGHT, wish.tall)
    capture.set(cv2.CAP_PROP_FPS, wish.fps)
    capture.set(cv2.CAP_PROP_BUFFERSIZE, 1)
    capture.set(cv2.CAP_PROP_AUTOFOCUS, int(wish.focus is None))
    if wish.focus is not None:
        capture.set(cv2.CAP_PROP_FOCUS, wish.focus)
    capture.set(cv2.CAP_PROP_AUTO_EXPOSURE, _AUTO_EXPOSURE if wish.exposure is None else _MANUAL_EXPOSURE)
    if wish.exposure is not None:
        capture.set(cv2.CAP_PROP_EXPOSURE, wish.exposure)


def mode_of(capture: Any) -> Mode:
    code = int(capture.get(cv2.CAP_PROP_FOURCC))
    letters = bytes(code >> shift & 0xFF for shift in (0, 8, 16, 24)) if code > 0 else b""
    form = letters.decode("latin-1").strip() if letters.isalnum() else ""
    sides = int(capture.get(cv2.CAP_PROP_FRAME_WIDTH)), int(capture.get(cv2.CAP_PROP_FRAME_HEIGHT))
    return Mode(*sides, float(capture.get(cv2.CAP_PROP_FPS)), form)


class Camera(Live):
    """A webcam by its number or path. It is opened at once, so that one that is not there is told of at the start."""

    def __init__(self, spec: str, wish: Wish | None = None) -> None:
        super().__init__(f"camera {spec}")
        self._spec, self._wish = spec, wish or Wish()
        self._capture: Any = open_camera(spec, self._wish)
        given = mode_of(self._capture)
        if 1 <= given.fps < 1000:
            self.fps = given.fps
        if given.wide * given.tall < self._wish.wide * self._wish.tall:
            self._tell(f"{self._name} gives {given}, less than was asked for: small labels may need to come closer")
        self._thread.start()

    def _pictures(self) -> Iterator[Image]:
        capture = self._capture or open_camera(self._spec, self._wish)
        self._capture = None
        try:
            while not self._stopping.is_set():
                there, image = capture.read()
                if not there:
                    break
                yield image
        finally:
            capture.release()
        if not self._any and not self._stopping.is_set():
            raise SourceError(f"{self._name} gives no picture: close what else uses it, or try another cable")


def cameras() -> list[tuple[int, str]]:
    """The cameras there are: number and name. Nodes that carry only a camera's metadata are left out."""
    found = []
    for path in DEVICES.glob("video*"):
        about = NAMES / path.name
        if path.name[5:].isdecimal() and _word(about / "index", "0") == "0":
            found.append((int(path.name[5:]), _word(about / "name", path.name)))
    return sorted(found)


def _word(path: Path, otherwise: str) -> str:
    try:
        return path.read_text("utf-8").strip()
    except OSError:
        return otherwise


def modes(spec: str) -> tuple[Mode, ...]:
    """What a camera gives when it is asked for each of SIZES, smallest first. Raises SourceError."""
    capture = open_camera(spec, Wish())
    try:
        given = []
        for wide, tall in SIZES:
            set_up(capture, Wish(wide, tall))
            given.append(mode_of(capture))
        return tuple(dict.fromkeys(given))
    finally:
        capture.release()
