"""Code 128 read from the widths of its bars and spaces: the reference decode of ISO/IEC 15417, from memory."""

from dataclasses import dataclass
from itertools import groupby
from typing import Final

import numpy as np
from barcode.charsets import code128 as charset

from label_templates.grade.place import Floats

_STOP = 106
_MODULES: Final = 11
_SHAPES = np.array([[len(list(run)) for _, run in groupby(code)][:6] for code in (*charset.CODES, charset.STOP)])
"""Modules of the bars and spaces of each value, 107 × 6; the stop's last bar, of 2, comes after."""
_VALUES = {tuple(int(n) for n in shape[:4] + shape[1:5]): value for value, shape in enumerate(_SHAPES)}
_BARS = _SHAPES[:, ::2].sum(axis=1)
_STARTS = {103: "A", 104: "B", 105: "C"}
_TO = {99: "C", 100: "B", 101: "A"}
_SHIFT, _FNC1 = 98, 102


@dataclass(frozen=True, slots=True)
class Decoded:
    """A line that was read: its text in ASCII, the nominal widths of its elements in modules, and its decodability."""

    text: bytes
    widths: Floats
    decodability: float


def decode(edges: Floats) -> Decoded | None:
    """The symbol whose edges `edges` begins with: places along a line, in any unit, from the first bar on.

    Each character is told by the widths from edge to similar edge, which the ink's growth leaves alone, and by the
    sum of its bars, which it does not.
    """
    widths = np.diff(edges)
    characters = widths[: len(widths) // 6 * 6].reshape(-1, 6)
    total = characters.sum(axis=1, keepdims=True)
    similar = (characters[:, :4] + characters[:, 1:5]) * _MODULES / total
    values = [_VALUES.get(tuple(int(n) for n in row), -1) for row in np.rint(similar)]
    if _STOP not in values or values.index(_STOP) * 6 + 6 >= len(widths):
        return None
    count = values.index(_STOP) + 1
    values = values[:count]
    if min(values) < 0 or not _checks(values):
        return None
    bars = characters[:count, ::2].sum(axis=1) * _MODULES / total[:count, 0]
    by_bars = 1 - np.abs(bars - _BARS[values]) / 1.75
    by_edges = 1 - np.abs(similar[:count] - np.rint(similar[:count])).max(axis=1) / 0.5
    worth = float(min(by_bars.min(), by_edges.min()))
    if worth <= 0:
        return None
    nominal = np.append(_SHAPES[values].ravel(), 2).astype(np.float64)
    return Decoded(_spelled(values[:-2]), nominal, worth)


def _checks(values: list[int]) -> bool:
    """Start, check character and stop in their places. The check is the sum of value × place, modulo 103."""
    if len(values) < 4 or values[0] not in _STARTS:
        return False
    *body, check, _ = values
    return (body[0] + sum(place * value for place, value in enumerate(body[1:], 1))) % 103 == check


def _spelled(values: list[int]) -> bytes:
    """The text from the start on, check and stop left out; a FNC1 that is not the first is a GS."""
    text, kept, once = "", _STARTS[values[0]], ""
    for place, value in enumerate(values[1:]):
        here, once = once or kept, ""
        if value == _FNC1:
            text += "\x1d" if place else ""
        elif here == "C" and value < 100:
            text += f"{value:02d}"
        elif value < 96:
            text += chr(value + 32 if here == "B" or value < 64 else value - 64)
        elif value == _SHIFT:
            once = "B" if here == "A" else "A"
        elif value in _TO and _TO[value] != here:
            kept = _TO[value]
    return text.encode()
