"""Reading a picture: every QR code and Code 128 in it, and which of them are ours."""

import itertools
import re
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from label_templates.codes import Code, CodeError, parse
from scanner.rescue import bars, squares
from scanner.rescue.code128 import nearly_ours
from scanner.rescue.reading import Going, Reading

try:
    import pyzbar.pyzbar as zbar
except ImportError:  # libzbar is not installed: no second opinion
    zbar = None

Image = NDArray[np.uint8]
_FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)
_PATIENCE_S, _REGIONS = 2.0, 6
_AT_ONCE, _ONE_MORE = 2, 8
"""Regions that are tried in turns from the start, and the turns after which one more is."""
_TO_END_S = 0.012
"""Seconds that a try that was begun in time may still take: with the step it is in, a frame at 30 a second."""
_SMALLEST = 12.0**2
"""Square pixels of the smallest region that is looked into."""
_PLAIN = 24
"""Grey levels by which a picture's sharpest light and dark spots must differ for it to hold print."""
_LARGEST = 2**25
"""Pixels of the largest picture that zbar is given: it takes a second for such a one."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """A symbol seen: its text as read, `QR` or `CODE128`, its corners (4 × 2, pixels), and which reader read it.

    `clean` says that it is a QR code read by a stock reader with no error correction used up.
    """

    text: str
    symbology: str
    corners: NDArray[np.float64]
    how: str
    clean: bool = False


@dataclass(frozen=True, slots=True)
class Seen:
    """What a picture shows: symbols read, and corners (4 × 2, pixels) of regions that are surely one and not read."""

    sightings: list[Sighting]
    unread: list[NDArray[np.float64]]


def second_opinion() -> bool:
    """Whether libzbar is here."""
    return zbar is not None


def read(image: Image, budget_s: float | None = None) -> list[Sighting]:
    """What is seen of any QR or Code 128 in an 8-bit picture (height × width, grey, or × 3, BGR): see `look`."""
    return look(image, budget_s).sightings


def look(image: Image, budget_s: float | None = None) -> Seen:
    """What is seen of any QR or Code 128 in an 8-bit picture (height × width, grey, or × 3, BGR), and where more is.

    zxing-cpp looks first, and nothing more is done when it reads something, unless that is nearly one of our codes: see
    `_doubted`. Else likely regions are rescued one by one for `budget_s` seconds, or in a picture that has all the time
    (None) for two, after zbar has looked at the whole of it; what was begun in that time may take a little longer.
    Raises ValueError for an array of another shape or type.
    """
    if image.dtype != np.uint8 or image.ndim not in {2, 3} or (image.ndim == 3 and image.shape[2] != 3):
        raise ValueError(f"a picture is height × width (× 3) of 8 bits, not {image.shape} of {image.dtype}")
    until = time.monotonic() + (_PATIENCE_S if budget_s is None else budget_s)
    results = zxingcpp.read_barcodes(image, formats=_FORMATS, text_mode=zxingcpp.TextMode.Plain, return_errors=True)
    if found := [_from_zxing(result) for result in results if result.valid and result.text]:
        return Seen(_doubted(image, found, None if budget_s == 0 else until), [])
    grey = _grey(image)
    if budget_s is None and (found := _second(grey)):
        return Seen(_doubted(image, found, until), [])
    if budget_s == 0 or not _anything(grey):
        return Seen([], [])
    return _rescued(grey, [_corners(one) for one in results if one.format != zxingcpp.BarcodeFormat.Code128], until)


def _grey(image: Image) -> Image:
    return image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)


def _doubted(image: Image, found: list[Sighting], until: float | None) -> list[Sighting]:
    """What was found, but for a Code 128 that is nearly one of our codes and none: what a second look makes of it.

    Crinkled or seen from the side, one is sometimes read wrong so that its one check holds, in one scan line or in all.
    As it was read it stays where neither another scan line nor the second look gives a code of ours. Without time for a
    second look (None) it is left out.
    """
    sure = [one for one in found if not _is_doubtful(one)]
    if until is None or len(sure) == len(found):
        return sure
    known = [one for one in sure if ours(one)]
    left = [one for one in found if _is_doubtful(one) and not any(_in_one_place(one, other) for other in known)]
    grey = _grey(image)
    for region in bars.find(grey) if left else []:
        if any(_holds(region, one) for one in left):
            better, _ = _first([_tried(grey, "CODE128", bars, region)], until, lambda seen: ours(seen) is not None)
            if better:
                sure.append(better)
                left = [one for one in left if not _holds(region, one)]
    return [*sure, *left]


def _in_one_place(one: Sighting, other: Sighting) -> bool:
    """Whether two sightings are of one symbol: their middles lie near each other, as seen from their length."""
    lengths = [np.linalg.norm(np.ptp(seen.corners, axis=0)) for seen in (one, other)]
    apart = np.linalg.norm(one.corners.mean(axis=0) - other.corners.mean(axis=0))
    return one.symbology == other.symbology and bool(apart < 0.25 * max(lengths))


def _holds(region: NDArray[np.float64], seen: Sighting) -> bool:
    """Whether the middle of a sighting lies in a region."""
    middle = seen.corners.mean(axis=0).tolist()
    return cv2.pointPolygonTest(region.astype(np.float32), middle, measureDist=False) >= 0


def _is_doubtful(seen: Sighting) -> bool:
    return seen.symbology == "CODE128" and not ours(seen) and nearly_ours(seen.text)


def _anything(grey: Image) -> bool:
    """Whether there is anything at all in a grey picture that print could be: a look at one point in sixteen."""
    small = cv2.resize(grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA) if min(grey.shape) >= 200 else grey
    low, high, *_ = cv2.minMaxLoc(cv2.Laplacian(cv2.blur(small, (2, 2)), cv2.CV_16S))
    return bool(high - low > _PLAIN)


def _second(grey: Image) -> list[Sighting]:
    """What zbar sees, if it is here and there is something to look at."""
    if zbar is None or not 0 < grey.size <= _LARGEST:
        return []
    kinds = [zbar.ZBarSymbol.QRCODE, zbar.ZBarSymbol.CODE128]
    return [sighting for result in zbar.decode(grey, symbols=kinds) if (sighting := _from_zbar(result))]


def _second_of(grey: Image, corners: NDArray[np.float64]) -> list[Sighting]:
    """What zbar sees in a region and a margin around it."""
    margin = 0.25 * np.ptp(corners, axis=0).min()
    left, top = np.maximum(corners.min(axis=0) - margin, 0).astype(int)
    right, bottom = (corners.max(axis=0) + margin).astype(int)
    found = _second(np.ascontiguousarray(grey[top:bottom, left:right]))
    return [replace(one, corners=one.corners + np.array([left, top])) for one in found]


def _rescued(grey: Image, unread: list[NDArray[np.float64]], until: float) -> Seen:
    """What is read in likely regions, those first that a stock reader left unread; the first that is read ends it."""
    unread = [corners for corners in unread if cv2.contourArea(corners.astype(np.float32)) > _SMALLEST]
    found, surely = _first((_tried(grey, *one) for one in _likely(grey, unread)), until)
    return Seen([found], []) if found else Seen([], [*unread, *surely])


def _first(
    works: Iterable[Iterator[Sighting | Going | None]], until: float, wanted: Callable[[Sighting], bool] = bool
) -> tuple[Sighting | None, list[NDArray[np.float64]]]:
    """The first text that the works give and that is `wanted`, and the corners of what is surely there and not read."""
    surely: dict[int, NDArray[np.float64]] = {}
    for place, found in _in_turns(works):
        if isinstance(found, Going):
            if time.monotonic() > until + _TO_END_S:
                break
            continue
        if found and found.text and wanted(found):
            return found, []
        if found and not found.text:
            surely[place] = found.corners
        if time.monotonic() > until:
            break
    return None, list(surely.values())


def _in_turns(works: Iterable[Iterator[Sighting | Going | None]]) -> Iterator[tuple[int, Sighting | Going | None]]:
    """(which of these works, what it gives): all that are begun go on in turns; two at first, now and then one more.

    A turn is a try to its end.
    """
    begun: dict[int, Iterator[Sighting | Going | None]] = {}
    coming = enumerate(works)
    for turn in itertools.count():
        if len(begun) < _AT_ONCE or turn % _ONE_MORE == 0:
            begun.update(itertools.islice(coming, 1))
        if not begun:
            return
        for place, work in list(begun.items()):
            found: Sighting | Going | None = Going.ON
            while isinstance(found, Going):
                try:
                    found = next(work)
                except StopIteration:
                    del begun[place]
                    break
                yield place, found


def _tried(grey: Image, symbology: str, reader: Any, corners: NDArray[np.float64]) -> Iterator[Sighting | Going | None]:
    """What the readers make of one region, try by try; one without a text is surely a symbol."""
    asked = False
    for found in reader.tries(grey, corners):
        yield Sighting(found.text, symbology, found.corners, found.how) if isinstance(found, Reading) else found
        if not asked and not isinstance(found, Going):
            asked = True
            yield from _second_of(grey, corners)
    if not asked:
        yield from _second_of(grey, corners)


def _likely(grey: Image, unread: list[NDArray[np.float64]]) -> Iterator[tuple[str, Any, NDArray[np.float64]]]:
    """Regions with the reader to try them, in turns, each reader's in its own order of promise."""
    for corners in unread:
        yield "QR", squares, corners
    finders = [_found(grey, "CODE128", bars), _found(grey, "QR", squares)]
    while finders:
        for finder in list(finders):
            try:
                yield next(finder)
            except StopIteration:
                finders.remove(finder)


def _found(grey: Image, symbology: str, reader: Any) -> Iterator[tuple[str, Any, NDArray[np.float64]]]:
    for corners in itertools.islice(reader.find(grey), _REGIONS):
        yield symbology, reader, corners


def _from_zxing(result: Any) -> Sighting:
    if result.format == zxingcpp.BarcodeFormat.Code128:
        return Sighting(result.text, "CODE128", _corners(result), "zxing")
    return Sighting(result.text, "QR", _corners(result), "zxing", clean=result.extra.get("UEC") == 1.0)


def _corners(result: Any) -> NDArray[np.float64]:
    place = result.position
    corners = [(p.x, p.y) for p in (place.top_left, place.top_right, place.bottom_right, place.bottom_left)]
    return np.array(corners, dtype=np.float64)


def _from_zbar(result: Any) -> Sighting | None:
    try:
        text = result.data.decode("utf-8")
    except UnicodeDecodeError:
        text = result.data.decode("latin-1")
    if not text:
        return None
    corners = [(p.x, p.y) for p in result.polygon]
    if len(corners) != 4:
        left, top, wide, tall = result.rect
        corners = [(left, top), (left + wide, top), (left + wide, top + tall), (left, top + tall)]
    symbology = "QR" if result.type == "QRCODE" else "CODE128"
    return Sighting(text, symbology, np.array(corners, dtype=np.float64), "zbar")


def ours(sighting: Sighting, patient_pattern: str | None = None) -> Code | str | None:
    """The code a sighting is, every check passed; a patient's wristband that fits the site's pattern; or None.

    This is the one place where what was read becomes something that may be believed.
    """
    try:
        return parse(sighting.text)
    except CodeError:
        fits = patient_pattern and re.fullmatch(patient_pattern, sighting.text)
        return sighting.text if fits else None
