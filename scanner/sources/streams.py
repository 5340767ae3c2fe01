"""Streams: motion JPEG over HTTP, and RTSP where OpenCV was built with FFmpeg."""

import os
from collections.abc import Iterator

import cv2
import httpx

from scanner.decode import Image
from scanner.sources.live import Live
from scanner.sources.pictures import PictureError, decoded
from scanner.sources.source import SourceError, plain_address

_LARGEST_FRAME = 16 << 20
_OPEN_MS = 10_000


class MjpegStream(Live):
    """Motion JPEG over HTTP: JPEG pictures one after another in a multipart answer."""

    def __init__(self, url: str) -> None:
        super().__init__(plain_address(url))
        self._url = url
        self._thread.start()

    def _pictures(self) -> Iterator[Image]:
        try:
            with httpx.stream("GET", self._url, timeout=httpx.Timeout(10)) as answer:
                if answer.status_code != httpx.codes.OK:
                    raise SourceError(f"{self._name} answers {answer.status_code}: check the address")
                yield from jpegs(answer.iter_bytes())
        except (httpx.HTTPError, httpx.InvalidURL) as error:
            raise SourceError(f"{self._name} does not answer ({type(error).__name__}): check the address") from error


def jpegs(pieces: Iterator[bytes]) -> Iterator[Image]:
    """The pictures in a stream of bytes: from each start-of-image mark to the end-of-image mark.

    A picture that cannot be read is left out; bytes without pictures are a SourceError.
    """
    held = b""
    for piece in pieces:
        held += piece
        while (start := held.find(b"\xff\xd8")) >= 0 and (end := held.find(b"\xff\xd9", start)) >= 0:
            data, held = held[start : end + 2], held[end + 2 :]
            try:
                yield decoded(data)
            except PictureError:
                continue
        if len(held) > _LARGEST_FRAME:
            raise SourceError("the stream holds no JPEG pictures: an MJPEG address is needed")


class RtspStream(Live):
    """A network camera by RTSP, over TCP: a lost packet of UDP would tear the picture."""

    def __init__(self, url: str) -> None:
        super().__init__(plain_address(url))
        if not cv2.videoio_registry.hasBackend(cv2.CAP_FFMPEG):
            raise SourceError(f"{self._name}: OpenCV has no FFmpeg here, use the camera's MJPEG address (http)")
        self._url = url
        os.environ.setdefault("OPENCV_FFMPEG_CAPTURE_OPTIONS", "rtsp_transport;tcp")
        self._thread.start()

    def _pictures(self) -> Iterator[Image]:
        waits = [cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, _OPEN_MS, cv2.CAP_PROP_READ_TIMEOUT_MSEC, _OPEN_MS]
        capture = cv2.VideoCapture(self._url, cv2.CAP_FFMPEG, waits)
        try:
            if not capture.isOpened():
                raise SourceError(f"{self._name} does not answer: check the address, the name and the password in it")
            while not self._stopping.is_set():
                there, image = capture.read()
                if not there:
                    return
                yield image
        finally:
            capture.release()
