"""What a source is: an iterator of frames, of texts already read, and of words about itself."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlsplit

from scanner.decode import Image


class SourceError(Exception):
    """A source that gives no pictures: which, why, and what to do."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A picture, its number from 0, the seconds since the source began, and the time it was taken."""

    image: Image
    index: int
    at_s: float
    at: datetime


@dataclass(frozen=True, slots=True)
class Text:
    """A text that a hand scanner read, and the time it came."""

    text: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Words:
    """What a person should know of a source that goes on: a camera pulled out, a black picture."""

    words: str


Given = Frame | Text | Words | None
"""What comes next from a source. None: nothing new, and time has passed; only live sources give it."""


class Source:
    """An iterator of what is given. `live` sources give the newest frame; files give every one."""

    live = False
    fps = 30.0

    def __iter__(self) -> Iterator[Given]:
        raise NotImplementedError

    def close(self) -> None:
        """Let go of the camera or file."""


def now() -> datetime:
    return datetime.now(UTC)


def plain_address(url: str) -> str:
    """An address as it may be shown: without the password in it, and without its query."""
    parts = urlsplit(url)
    return f"{parts.scheme}://{parts.netloc.rpartition('@')[2]}{parts.path}"
