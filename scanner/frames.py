"""Frames: pictures from a camera, a video, a folder of pictures or an MJPEG stream, each with its time."""

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cv2
import httpx
import numpy as np

from scanner.decode import Image

PICTURES = {".png", ".jpg", ".jpeg", ".bmp", ".webp", ".tif", ".tiff"}
FOLDER_FPS = 2.0
"""Frames a second that a folder of pictures stands for: each picture is shown twice, a second apart from the next."""
_STILL_S = 10.0
_LARGEST_FRAME = 16 << 20

Clock = Callable[[int], datetime]


class SourceError(Exception):
    """A source that gives no pictures: which, why, and what to do."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A picture, its number from 0, the seconds since the source began, and the time it was taken."""

    image: Image
    index: int
    at_s: float
    at: datetime


class Source:
    """An iterator of frames. `live` sources give the newest frame; files give every one."""

    live = False
    fps = 30.0

    def __iter__(self) -> Iterator[Frame]:
        raise NotImplementedError

    def close(self) -> None:
        """Let go of the camera or file."""


def open_source(spec: str, *, clock: Clock | None = None) -> Source:
    """The source that `spec` names: a camera number, a file, a folder, or an http address. Raises SourceError.

    `clock` tells the time of a frame by its number; otherwise a file's first frame is now.
    """
    if spec.isdecimal():
        return Camera(int(spec))
    if spec.startswith(("http://", "https://")):
        return MjpegStream(spec)
    path = Path(spec)
    if path.is_dir():
        return Folder(path, clock)
    if not path.exists():
        raise SourceError(f"there is no {spec}: name a camera number, a video, a folder of pictures or an http address")
    return Video(path, clock)


def _now() -> datetime:
    return datetime.now(UTC)


class Video(Source):
    """A video file, frame by frame."""

    def __init__(self, path: Path, clock: Clock | None = None) -> None:
        if path.stat().st_size == 0:
            raise SourceError(f"{path} is empty: record it again")
        self._path = path
        self._capture = cv2.VideoCapture(str(path))
        fps = self._capture.get(cv2.CAP_PROP_FPS) if self._capture.isOpened() else 0
        if not self._capture.isOpened() or not 0 < fps < 1000:
            raise SourceError(f"{path} is not a video that can be read: check the file")
        self.fps = float(fps)
        began = _now()
        self._clock = clock or (lambda index: began + timedelta(seconds=index / self.fps))

    def __iter__(self) -> Iterator[Frame]:
        index = 0
        while True:
            there, image = self._capture.read()
            if not there:
                break
            yield Frame(image, index, index / self.fps, self._clock(index))
            index += 1
        if index == 0:
            raise SourceError(f"{self._path} holds no picture that can be read: record it again")

    def close(self) -> None:
        self._capture.release()


class Folder(Source):
    """A folder of pictures in the order of their names; each stands for two frames of a still label."""

    fps = FOLDER_FPS

    def __init__(self, path: Path, clock: Clock | None = None) -> None:
        self._files = sorted(file for file in path.iterdir() if file.suffix.lower() in PICTURES)
        if not self._files:
            raise SourceError(f"{path} holds no pictures ({', '.join(sorted(PICTURES))}): check the folder")
        began = _now()
        self._clock = clock or (lambda index: began + timedelta(seconds=index / self.fps))

    def __iter__(self) -> Iterator[Frame]:
        for number, file in enumerate(self._files):
            image = cv2.imread(str(file), cv2.IMREAD_COLOR)
            if image is None:
                raise SourceError(f"{file} is not a picture that can be read: take it out of the folder")
            for index in (2 * number, 2 * number + 1):
                yield Frame(image, index, number * 2.0 + (index % 2) * 0.5, self._clock(index))


class _Live(Source):
    """A live source: its own thread keeps the newest frame."""

    live = True

    def __init__(self, name: str) -> None:
        self._name = name
        self._newest: Image | None = None
        self._fault: str | None = None
        self._fresh = threading.Condition()
        self._stopping = False
        self._thread = threading.Thread(target=self._keep, name=f"frames {name}", daemon=True)

    def _pictures(self) -> Iterator[Image]:
        raise NotImplementedError

    def _keep(self) -> None:
        try:
            for image in self._pictures():
                if self._stopping:
                    return
                with self._fresh:
                    self._newest = image
                    self._fresh.notify()
            fault = f"{self._name} gives no more pictures: check the cable"
        except SourceError as error:
            fault = str(error)
        with self._fresh:
            self._fault = fault
            self._fresh.notify()

    def __iter__(self) -> Iterator[Frame]:
        began, index = time.monotonic(), 0
        while not self._stopping:
            with self._fresh:
                self._fresh.wait_for(
                    lambda: self._newest is not None or self._fault or self._stopping, timeout=_STILL_S
                )
                image, self._newest = self._newest, None
                fault = self._fault
            if image is None:
                if self._stopping:
                    return
                raise SourceError(fault or f"{self._name} has given no picture for {_STILL_S:.0f} s: check the cable")
            yield Frame(image, index, time.monotonic() - began, _now())
            index += 1

    def close(self) -> None:
        self._stopping = True
        with self._fresh:
            self._fresh.notify()


class Camera(_Live):
    """A webcam by its number."""

    def __init__(self, number: int) -> None:
        super().__init__(f"camera {number}")
        self._capture = cv2.VideoCapture(number)
        if not self._capture.isOpened():
            raise SourceError(
                f"camera {number} is not there, or something else uses it: check the cable and the number"
            )
        self._capture.set(cv2.CAP_PROP_FRAME_WIDTH, 1280)
        self._capture.set(cv2.CAP_PROP_FRAME_HEIGHT, 720)
        self._thread.start()

    def _pictures(self) -> Iterator[Image]:
        while not self._stopping:
            there, image = self._capture.read()
            if not there:
                return
            yield image

    def close(self) -> None:
        super().close()
        self._thread.join(2)
        self._capture.release()


class MjpegStream(_Live):
    """Motion JPEG over HTTP: JPEG pictures one after another in a multipart answer."""

    def __init__(self, url: str) -> None:
        super().__init__(url)
        self._url = url
        self._thread.start()

    def _pictures(self) -> Iterator[Image]:
        try:
            with httpx.stream("GET", self._url, timeout=httpx.Timeout(10)) as answer:
                if answer.status_code != httpx.codes.OK:
                    raise SourceError(f"{self._url} answers {answer.status_code}: check the address")
                yield from _jpegs(answer.iter_bytes())
        except (httpx.HTTPError, httpx.InvalidURL) as error:
            raise SourceError(f"{self._url} does not answer ({type(error).__name__}): check the address") from error


def _jpegs(pieces: Iterator[bytes]) -> Iterator[Image]:
    """The pictures in a stream of bytes: from each start-of-image mark to the end-of-image mark."""
    held = b""
    for piece in pieces:
        held += piece
        while (start := held.find(b"\xff\xd8")) >= 0 and (end := held.find(b"\xff\xd9", start)) >= 0:
            image = cv2.imdecode(np.frombuffer(held[start : end + 2], np.uint8), cv2.IMREAD_COLOR)
            held = held[end + 2 :]
            if image is not None:
                yield image
        if len(held) > _LARGEST_FRAME:
            raise SourceError("the stream holds no JPEG pictures: an MJPEG address is needed")
