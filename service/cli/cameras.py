"""Cameras, as `foldmark doctor --camera` sees them: which there are, what each can do, is its picture well."""

import time
from collections.abc import Iterator

from scanner.decode import Image
from scanner.frames import Frame, Source, SourceError, open_source
from scanner.sources import cameras
from scanner.sources.doubts import is_black
from scanner.sources.pictures import PictureError, as_picture

LONGEST_S = 5.0
ENOUGH = 10
"""Frames looked at: a camera's first ones are often black, and one that stands still needs some to be seen to."""

Seen = tuple[str, bool, str]
"""What was looked at, whether it is well, and what is said of it."""


def looked_at(named: str) -> Iterator[Seen]:
    """What there is to say of one source, or of every camera here when `named` is `all`."""
    if named != "all":
        yield from _modes(named)
        yield _picture(named)
        return
    found = cameras.cameras()
    if not found:
        yield "camera", False, "none is seen: plug one in, or scan with a tablet, a stream or a hand scanner"
    for number, name in found:
        yield f"camera {number}", True, name
        yield from _modes(str(number))
        yield _picture(str(number))


def _modes(spec: str) -> Iterator[Seen]:
    if cameras.number_of(spec) is None:
        return
    try:
        for mode in cameras.modes(spec):
            yield f"camera {spec} can", True, str(mode)
    except SourceError as error:
        yield f"camera {spec} can", False, str(error)


def _picture(spec: str) -> Seen:
    what = f"picture of {spec}"
    try:
        source = open_source(spec)
        try:
            taken = _taken(source)
        finally:
            source.close()
    except (SourceError, PictureError) as error:
        return what, False, str(error)
    if not taken:
        return what, False, f"there was none in {LONGEST_S:.0f} s: check the cable"
    last = taken[-1]
    size = f"{last.shape[1]} × {last.shape[0]}, mean grey {last.mean():.0f}"
    if is_black(last):
        return what, False, f"{size}: black, take the cap off the lens or bring light"
    if len(taken) > 1 and all((one == last).all() for one in taken if one.shape == last.shape):
        return what, False, f"{size}: stands still, pull the camera's plug and put it in again"
    return what, True, f"{size}, {len(taken)} frames looked at"


def _taken(source: Source) -> list[Image]:
    until = time.monotonic() + LONGEST_S
    taken: list[Image] = []
    for given in source:
        if isinstance(given, Frame):
            taken.append(as_picture(given.image))
        if len(taken) == ENOUGH or time.monotonic() > until:
            break
    return taken
