"""Reading one of our codes from doubtful modules: the most likely code of our grammar, and how much speaks for it.

All our codes are QR version 1, level Q: 104 data bits, of which the header, the kind, the hyphens and the filling are
known beforehand, and 104 bits of error correction, which are sums of them. What is left is a linear code over GF(2)
with few free bits; it is decoded from the bits best seen (ordered statistics: Fossorier and Lin, IEEE Trans. Inf.
Theory 41, 1995, from memory), so that more of a symbol may be hidden than Reed-Solomon erasures could restore.
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
"""Bits that must speak for a code beyond those that name it among all of ours: chance finds one in 2^32 tries."""
_SHAPES_TRIED, _LOOKED_AT = 4, 40
_CLEAR, _AGREES, _SLACK = 12.0, 0.5, 3.0
"""Bits of evidence in what a shape fixes: how far one may fall behind another and still be tried; and the share of what
all agreeing would give that it must have, but for a slack."""
_CHOICES = {"a": 36, "d": 10}


@dataclass(frozen=True, slots=True)
class Found:
    """A code, and the bits of evidence for it."""

    text: str
    evidence: float


def read(odds: NDArray[np.float64]) -> Found | None:
    """The code of ours that 208 log odds (dark over light, mask off, in the order written) speak for, or None."""
    odds = np.clip(odds, -_MOST, _MOST)
    worth, most = _for_known(odds)
    fits = (worth > float(worth.max()) - _CLEAR) & (worth > _AGREES * most - _SLACK)
    order = np.argsort(-worth, kind="stable")
    for number in order[fits[order]][:_SHAPES_TRIED]:
        found = _most_likely(_SHAPES[number], odds)
        if found is not None and found.evidence >= EVIDENCE:
            return found
    return None


def _for_known(odds: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """For each shape, the bits of evidence in the data bits it fixes, and what they would be if every one agreed."""
    fixed, known = _fixed()
    seen = odds[: 8 * _DATA]
    agree, not_dark = _evidence(seen, np.array(True)), _evidence(seen, np.array(False))
    return (np.where(fixed, agree, not_dark) * known).sum(axis=1), (np.maximum(agree, not_dark) * known).sum(axis=1)


@lru_cache
def _fixed() -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """The data bits of every shape, and which of them it fixes: both shapes × 104."""
    both = [_data(shape) for shape in _SHAPES]
    return np.array([bits for bits, _ in both]), np.array([known for _, known in both])


def _evidence(odds: NDArray[np.float64], bits: NDArray[np.bool_]) -> NDArray[np.float64]:
    """For each bit, log2 of how much likelier it makes the code than a toss would."""
    return 1 - np.logaddexp(0, np.where(bits, -odds, odds)) / np.log(2)


@lru_cache
def _space(shape: str) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """The codes of a shape: one of them (208 bits), and the free directions (k × 208)."""
    bits, known = _data(shape)
    base = _with_checks(bits)
    free = np.flatnonzero(~known)
    ways = np.zeros((free.size, known.size), bool)
    ways[np.arange(free.size), free] = True
    return base, np.array([_with_checks(way) for way in ways])


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
    """Powers and logarithms in GF(256) by x^8 + x^4 + x^3 + x^2 + 1; the generator of 13 check codewords."""
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
    """The likeliest code of a shape near the one that the surest bits spell; one or two of those may be wrong."""
    base, ways = _space(shape)
    ways, places = _reduced(ways, np.argsort(-np.abs(odds), kind="stable"))
    hard = odds > 0
    first = base ^ np.logical_xor.reduce(ways[(base ^ hard)[places]], axis=0)
    ways = np.vstack([np.zeros_like(first), ways])
    signed = np.where(first, odds, -odds)
    both = (ways * signed) @ ways.T
    alone = np.diag(both)
    one, two = np.triu_indices(len(ways))
    cost = alone[one] + alone[two] - 2 * both[one, two]
    cost[one == two] = np.inf
    cost[0] = 0  # the first itself
    for number in np.argsort(cost, kind="stable")[:_LOOKED_AT]:
        bits = first ^ ways[one[number]] ^ ways[two[number]]
        text = _text(bits)
        if re.fullmatch(_pattern(shape), text) and is_code(text):
            ours = len(_SHAPES) * math.prod(_CHOICES.get(sign, 1) for sign in shape)
            return Found(text, float(_evidence(odds, bits).sum()) - math.log2(ours))
    return None


@lru_cache
def _pattern(shape: str) -> str:
    return shape.replace("a", "[0-9A-Z]").replace("d", "[0-9]").replace("c", "[0-9A-Z*]")


def _reduced(ways: NDArray[np.bool_], order: NDArray[np.intp]) -> tuple[NDArray[np.bool_], list[int]]:
    """The same space with one way for each of the first places, in this order, that is free; and those places."""
    rows = [int.from_bytes(row.tobytes(), "big") for row in np.packbits(ways[:, order], axis=1)]
    places: list[int] = []
    for at, place in enumerate(order):
        bit = 1 << (BITS - 1 - at)
        lead = next((n for n in range(len(places), len(rows)) if rows[n] & bit), None)
        if lead is None:
            continue
        pivot = rows[lead]
        rows[lead] = rows[len(places)]
        rows = [row ^ pivot if row & bit else row for row in rows]
        rows[len(places)] = pivot
        places.append(int(place))
        if len(places) == len(rows):
            break
    back = np.empty_like(order)
    back[order] = np.arange(order.size)
    packed = np.frombuffer(b"".join(row.to_bytes(BITS // 8, "big") for row in rows), np.uint8).reshape(len(rows), -1)
    return np.unpackbits(packed, axis=1).astype(bool)[:, back], places


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
