"""Frames: the source that a word names, from a camera's number to a serial scanner."""

from pathlib import Path

from scanner.sources.cameras import DEVICES, Camera, Wish
from scanner.sources.files import Clock, Folder, Video
from scanner.sources.source import Frame, Given, Source, SourceError, Text, Words
from scanner.sources.streams import MjpegStream, RtspStream
from scanner.sources.texts import keys, serial

__all__ = ["Clock", "Frame", "Given", "Source", "SourceError", "Text", "Wish", "Words", "open_source"]

KINDS = "a camera number, a video, a folder of pictures, an http or rtsp address, keys, or serial:/dev/ttyUSB0"


def open_source(spec: str, *, clock: Clock | None = None, wish: Wish | None = None) -> Source:
    """The source that `spec` names, one of KINDS. Raises SourceError.

    `clock` tells the time of a frame by its number; otherwise a file's first frame is now. `wish` is how a camera is
    asked to be.
    """
    if spec == "keys":
        return keys()
    if spec.startswith("serial:"):
        return serial(spec.removeprefix("serial:"))
    if spec.startswith(("http://", "https://")):
        return MjpegStream(spec)
    if spec.startswith(("rtsp://", "rtsps://")):
        return RtspStream(spec)
    if spec.isdecimal() or spec.startswith(f"{DEVICES}/"):
        return Camera(spec, wish)
    path = Path(spec)
    if path.is_dir():
        return Folder(path, clock)
    if not path.exists():
        raise SourceError(f"there is no {spec}: name {KINDS}")
    return Video(path, clock)
