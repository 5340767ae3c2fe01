"""Files: a video frame by frame, and a folder of pictures. None of their frames is left out."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import cv2

from scanner.sources.pictures import PictureError, decoded
from scanner.sources.source import Frame, Source, SourceError, Words, now

PICTURES = {".png", ".jpg", ".jpeg", ".bmp", ".webp", ".tif", ".tiff"}
FOLDER_FPS = 2.0
"""Frames a second that a folder of pictures stands for: each picture is shown twice, a second apart from the next."""

Clock = Callable[[int], datetime]


def _clock(clock: Clock | None, fps: float) -> Clock:
    began = now()
    return clock or (lambda index: began + timedelta(seconds=index / fps))


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
        self._clock = _clock(clock, self.fps)

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
        self._path = path
        self._files = sorted(file for file in path.iterdir() if file.suffix.lower() in PICTURES)
        if not self._files:
            raise SourceError(f"{path} holds no pictures ({', '.join(sorted(PICTURES))}): check the folder")
        self._clock = _clock(clock, self.fps)

    def __iter__(self) -> Iterator[Frame | Words]:
        number = 0
        for file in self._files:
            try:
                image = decoded(file.read_bytes())
            except (PictureError, OSError) as error:
                yield Words(f"{file} is left out: {error}")
                continue
            for index in (2 * number, 2 * number + 1):
                yield Frame(image, index, number * 2.0 + (index % 2) * 0.5, self._clock(index))
            number += 1
        if number == 0:
            raise SourceError(f"{self._path} holds no picture that can be read: check the folder")
