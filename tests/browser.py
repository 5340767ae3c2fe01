"""The system's Chromium at a service on loopback, and the films that stand in for a tablet's camera."""

import os
import shutil
from contextlib import contextmanager

import cv2
import pytest

CHROMIUM = shutil.which("chromium")
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
         "--disable-sync"]  # fmt: skip
SLOWNESS = 6
"""How often each frame of a film is shown; Chromium shows thirty a second, a film is made for fifteen and has no hurry."""
LEAD, TAIL = 60, 450
"""Frames of an empty bench: before the first label, and at the end, before Chromium shows the film from its beginning."""


_DRIVERS = []
"""The driver of the browsers that are open, if one is: a thread can have but one."""


@contextmanager
def launched(*more):
    """The system's Chromium, started with these switches too."""
    if CHROMIUM is None:
        assert os.environ.get("CI") != "true", "Chromium is missing"
        pytest.skip("Chromium is not installed")
    with _driven() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=[*QUIET, *more])
        yield browser
        browser.close()


@contextmanager
def _driven():
    from playwright.sync_api import sync_playwright

    if _DRIVERS:
        yield _DRIVERS[0]
        return
    with sync_playwright() as play:
        _DRIVERS.append(play)
        try:
            yield play
        finally:
            _DRIVERS.clear()


def as_camera(film):
    """The switches with which Chromium takes a film (AVI) for a camera, and lets pages use it."""
    frames, feed = [], film.with_suffix(".mjpeg")
    source = cv2.VideoCapture(str(film))
    while (read := source.read())[0]:
        frames.append(cv2.imencode(".jpg", read[1], [cv2.IMWRITE_JPEG_QUALITY, 80])[1].tobytes())
    source.release()
    with feed.open("wb") as file:
        file.write(frames[-1] * LEAD)
        for frame in frames:
            file.write(frame * SLOWNESS)
        file.write(frames[-1] * TAIL)
    return ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream", f"--use-file-for-fake-video-capture={feed}"]  # fmt: skip
