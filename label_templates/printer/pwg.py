"""Pages as PWG raster, a printer's own dots in a published form (PWG 5102.4-2012)."""

import io
import struct
from collections.abc import Callable, Iterator, Sequence
from itertools import groupby
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from label_templates.printer.document import Paper

_GREY, _BLACK = 18, 3
"""Table 3 of PWG 5102.4-2012."""
_Rows = NDArray[np.uint8]
_TYPES: Final[dict[str, tuple[int, int, Callable[[NDArray[Any]], _Rows]]]] = {
    "black_1": (_BLACK, 1, lambda white: np.packbits(~white, axis=1)),
    "sgray_1": (_GREY, 1, lambda white: np.packbits(white, axis=1)),
    "black_8": (_BLACK, 8, lambda white: np.where(white, 0, 255).astype(np.uint8)),
    "sgray_8": (_GREY, 8, lambda white: np.where(white, 255, 0).astype(np.uint8)),
}
TYPES: Final = tuple(_TYPES)
"""The kinds of raster that can be written, the best first: one bit a dot is what a label is."""
_HEADER: Final = 1796
_MOST_LINES, _MOST = 256, 128


def pwg_raster(pages: Sequence[bytes], paper: Paper, kind: str) -> bytes:
    """`pages`, PNGs of one bit a dot, as PWG raster of a kind named in TYPES."""
    parts = [b"RaS2"]
    for page in pages:
        white = np.asarray(Image.open(io.BytesIO(page)).convert("1"))
        space, bits, rows_of = _TYPES[kind]
        rows = rows_of(white)
        parts.append(_header(white.shape[1], white.shape[0], rows.shape[1], paper, (space, bits, len(pages))))
        parts += _lines(rows)
    return b"".join(parts)


def _header(wide: int, high: int, bytes_a_line: int, paper: Paper, how: tuple[int, int, int]) -> bytes:
    """A page's header, of 1796 bytes: PWG 5102.4-2012, 4.3."""
    space, bits, count = how
    dpi, points = round(paper.dpi), (round(paper.width * 72 / 2540), round(paper.height * 72 / 2540))
    header = bytearray(_HEADER)
    header[0:9] = b"PwgRaster"
    for at, *values in (
        (276, dpi, dpi),
        (340, 0),  # as many copies as the job asks for
        (352, *points),
        (372, wide, high),
        (384, bits, bits, bytes_a_line, 0, space),
        (420, 1),
        (452, count, 1, 1),
    ):
        struct.pack_into(f">{len(values)}I", header, at, *values)
    size = f"{paper.width / 100:g}x{paper.height / 100:g}mm"
    name = f"custom_{size}_{size}".encode()
    header[1732 : 1732 + len(name)] = name
    return bytes(header)


def _lines(rows: _Rows) -> Iterator[bytes]:
    """Lines that follow each other and are the same are written once, with how often."""
    for line, same in groupby(row.tobytes() for row in rows):
        packed, left = _packed(line), sum(1 for _ in same)
        while left:
            now = min(left, _MOST_LINES)
            yield bytes([now - 1]) + packed
            left -= now


def _packed(line: bytes) -> bytes:
    """Runs of one byte as (length - 1, byte); bytes that differ as (257 - length, bytes)."""
    out, plain = bytearray(), bytearray()
    for value, run in groupby(line):
        length = sum(1 for _ in run)
        if length == 1:
            plain.append(value)
            continue
        out += _differing(plain)
        plain.clear()
        for at in range(0, length, _MOST):
            out += bytes((min(_MOST, length - at) - 1, value))
    return bytes(out + _differing(plain))


def _differing(plain: bytes | bytearray) -> bytes:
    parts = (bytes(plain[at : at + _MOST]) for at in range(0, len(plain), _MOST))
    return b"".join((bytes([257 - len(part)]) if len(part) > 1 else b"\0") + part for part in parts)
