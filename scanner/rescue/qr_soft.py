"""Reading one of our codes from doubtful modules: the most likely code of our grammar, and how much speaks for it.

All our codes are QR version 1, level Q: 104 data bits, of which the header, the kind, the hyphens and the filling are known
beforehand, and 104 bits of error correction, which are sums of them. What is left is a linear code over GF(2) with few
free bits; it is decoded from the bits best seen (ordered statistics: Fossorier and Lin, IEEE Trans. Inf. Theory 41, 1995),
so that even more than the half of a symbol that Reed-Solomon erasures could restore may be hidden.
"""

import math
import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from label_templates.codes import is_code

SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
_ANY, _DIGIT, _CHECK = SIGNS[:36], SIGNS[:10], SIGNS[:36] + "*"
_SHAPES = (
    "P-aa-dddd-dddd-c", "S-aa-dddd-c", "L-aa-a-dddd-c", "W-aa-a-dddd-c", "B-aa-ddd-c", "H-aa-ddd-c", "A-aa-dddddd-c",
    "C-aa-dddd-c", "C-aa-ddddd-c", "C-aa-dddddd-c", "I-aa-ddddd-c", *(f"K-{'a' * n}-c" for n in range(1, 11)),
)  # fmt: skip
"""Shapes of our codes: `a` a letter or digit, `d` a digit, `c` the check character; see label_templates.codes."""
_DATA, _CHECKS = 13, 13
"""Codewords of version 1, level Q (ISO/IEC 18004, table 9)."""
BITS = 8 * (_DATA + _CHECKS)
_MOST = 5.0
"""No module is believed further than e^5 : 1: what covers a label may look as sure as print."""
EVIDENCE = 32.0
"""Bits that must speak for a code beyond those that name it among all of ours: a toss-up fits some code once in 2^32 tries."""
_CHOICES = {"a": 36, "d": 10}
_KINDS_TRIED = 3


@dataclass(frozen=True, slots=True)
class Found:
    """A code, and the bits of evidence for it."""

    text: str
    evidence: float


def read(odds: NDArray[np.float64]) -> Found | None:
    """The code of ours that 208 log odds (dark over light, mask off, in the order written) speak for; None if too little does."""
    odds = np.clip(odds, -_MOST, _MOST)
    for shape in sorted(_SHAPES, key=lambda shape: _for_known(shape, odds), reverse=True)[:_KINDS_TRIED]:
        found = _most_likely(shape, odds)
        if found is not None and found.evidence >= EVIDENCE:
            return found
    return None


def _for_known(shape: str, odds: NDArray[np.float64]) -> float:
    """Bits of evidence in the data bits that a shape fixes, beyond what their number gives by chance."""
    fixed, _, known = _space(shape)
    return float(_evidence(odds[: known.size], fixed[: known.size])[known].sum())


def _evidence(odds: NDArray[np.float64], bits: NDArray[np.bool_]) -> NDArray[np.float64]:
    """For each bit, log2 of how much likelier it makes the code than a toss would."""
    return 1 - np.logaddexp(0, np.where(bits, -odds, odds)) / np.log(2)


@lru_cache
def _space(shape: str) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """The codes of a shape: one of them (208 bits), the free directions (k × 208), and which of the 104 data bits are fixed."""
    bits, known = _data(shape)
    base = _with_checks(bits)
    free = np.flatnonzero(~known)
    ways = np.zeros((free.size, known.size), bool)
    ways[np.arange(free.size), free] = True
    return base, np.array([_with_checks(way) for way in ways]), known


def _data(shape: str) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """The data bits of a shape (0 where free), and which are fixed."""
    bits: list[int | None] = _number(0b0010, 4) + _number(len(shape), 9)
    for at in range(0, len(shape), 2):
        sets = [_signs(sign) for sign in shape[at : at + 2]]
        values = [45 * a + b for a in sets[0] for b in sets[1]] if len(sets) == 2 else sets[0]
        bits += _common(values, 11 if len(sets) == 2 else 6)
    bits += [0] * min(4, 8 * _DATA - len(bits))
    bits += [0] * (-len(bits) % 8)
    filling = (0xEC, 0x11)
    for number in range(_DATA - len(bits) // 8):
        bits += _number(filling[number % 2], 8)
    return np.array([bool(bit) for bit in bits]), np.array([bit is not None for bit in bits])


def _signs(sign: str) -> list[int]:
    return [SIGNS.index(one) for one in {"a": _ANY, "d": _DIGIT, "c": _CHECK}.get(sign, sign)]


def _number(value: int, width: int) -> list[int | None]:
    return [value >> bit & 1 for bit in range(width - 1, -1, -1)]


def _common(values: list[int], width: int) -> list[int | None]:
    """The bits that all values share, None where they differ."""
    every, some = values[0], values[0]
    for value in values:
        every, some = every & value, some | value
    return [1 if every >> bit & 1 else None if some >> bit & 1 else 0 for bit in range(width - 1, -1, -1)]


@lru_cache
def _generator() -> tuple[list[int], list[int], list[int]]:
    """Powers and logarithms in GF(256) with x^8 + x^4 + x^3 + x^2 + 1, and the generator for 13 check codewords."""
    powers, value = [], 1
    for _ in range(255):
        powers.append(value)
        value = value << 1 ^ (0x11D if value & 0x80 else 0)
    logs = [0] * 256
    for power, value in enumerate(powers):
        logs[value] = power
    poly = [1]
    for root in range(_CHECKS):
        longer = [*poly, 0]
        for at, factor in enumerate(poly):
            if factor:
                longer[at + 1] ^= powers[(logs[factor] + root) % 255]
        poly = longer
    return powers, logs, poly


def _with_checks(data: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """104 data bits with the 104 bits of their check codewords behind them."""
    powers, logs, poly = _generator()
    words = [int(word) for word in np.packbits(data)]
    rest = words + [0] * _CHECKS
    for at in range(_DATA):
        if rest[at]:
            for step, factor in enumerate(poly):
                rest[at + step] ^= powers[(logs[rest[at]] + logs[factor]) % 255] if step else 0
    return np.concatenate([data, np.unpackbits(np.array(rest[_DATA:], np.uint8)).astype(bool)])


def _most_likely(shape: str, odds: NDArray[np.float64]) -> Found | None:
    base, ways, _ = _space(shape)
    ways, places = _reduced(ways, np.argsort(-np.abs(odds), kind="stable"))
    hard = odds > 0
    first = base ^ _sum(ways[(base ^ hard)[places]])
    flips = _flips(len(ways), np.abs(odds[places]))
    tried = np.vstack([first[None], first ^ ways, first ^ ways[flips[0]] ^ ways[flips[1]]])
    gain = np.where(tried, odds, -odds).sum(axis=1)
    for number in np.argsort(-gain)[:40]:
        text = _text(tried[number])
        if re.fullmatch(_pattern(shape), text) and is_code(text):
            ours = len(_SHAPES) * math.prod(_CHOICES.get(sign, 1) for sign in shape)
            return Found(text, float(_evidence(odds, tried[number]).sum()) - math.log2(ours))
    return None


def _sum(rows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.logical_xor.reduce(rows, axis=0)


@lru_cache
def _pattern(shape: str) -> str:
    return shape.replace("a", "[0-9A-Z]").replace("d", "[0-9]").replace("c", "[0-9A-Z*]")


def _reduced(ways: NDArray[np.bool_], order: NDArray[np.intp]) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
    """The same space with one way for each of the first places, in this order, that can be chosen freely."""
    ways, places = ways[:, order].copy(), []
    row = 0
    for place in range(ways.shape[1]):
        lead = np.flatnonzero(ways[row:, place])
        if not lead.size:
            continue
        pick = row + lead[0]
        if pick != row:
            ways[[row, pick]] = ways[[pick, row]]
        others = ways[:, place].copy()
        others[row] = False
        ways[others] ^= ways[row]
        places.append(place)
        row += 1
        if row == len(ways):
            break
    back = np.empty_like(order)
    back[order] = np.arange(order.size)
    return ways[:, back], order[np.array(places)]


@lru_cache
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    one, two = np.triu_indices(count, 1)
    return one, two


def _flips(count: int, sure: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of places to turn over together: those least sure."""
    doubtful = np.argsort(sure)[: min(count, 40)]
    one, two = _pairs(doubtful.size)
    return doubtful[one], doubtful[two]


def _text(bits: NDArray[np.bool_]) -> str:
    """The text in a code's data bits; empty where it cannot be one."""
    whole = int.from_bytes(np.packbits(bits[: 8 * _DATA]).tobytes(), "big")
    left = 8 * _DATA - 13
    count = whole >> left & 0x1FF
    text = ""
    while len(text) < count:
        width = 11 if count - len(text) > 1 else 6
        left -= width
        if left < 0:
            return ""
        value = whole >> left & ((1 << width) - 1)
        if value >= (45 * 45 if width == 11 else 45):
            return ""
        text += SIGNS[value // 45] + SIGNS[value % 45] if width == 11 else SIGNS[value]
    return text
