"""Which module of a QR code belongs to which codeword and block, and how many wrong ones a block bears."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import qrcode
from numpy.typing import NDArray
from qrcode.base import rs_blocks
from qrcode.exceptions import DataOverflowError
from qrcode.main import QRCode
from qrcode.util import pattern_position

Bits = NDArray[np.bool_]
LEVELS = {"L": qrcode.constants.ERROR_CORRECT_L, "M": qrcode.constants.ERROR_CORRECT_M,
          "Q": qrcode.constants.ERROR_CORRECT_Q, "H": qrcode.constants.ERROR_CORRECT_H}  # fmt: skip
_KEPT_BACK = {(1, "L"): 3, (1, "M"): 2, (1, "Q"): 1, (1, "H"): 1, (2, "L"): 2, (3, "L"): 1}
"""Check codewords kept back so that a wrong text is not taken for a right one. RECALL ISO/IEC 18004."""


@dataclass(frozen=True, slots=True)
class Block:
    """A block of codewords: their numbers in the order they are drawn, and how many check codewords can be used up."""

    codewords: NDArray[np.intp]
    capacity: int

    def unused(self, wrong: int) -> float:
        """Unused error correction with that many codewords wrong at unknown places: 1 − 2t / capacity. RECALL 15415."""
        return max(0.0, 1 - 2 * wrong / self.capacity)


def drawn(data: bytes, version: int, level: str, mask: int) -> Bits | None:
    """The modules of `data` as our encoder draws them, n × n, True dark; None where it does not fit so."""
    code = QRCode(version=version, error_correction=LEVELS[level], mask_pattern=mask, border=0)
    try:
        code.add_data(data, optimize=0)
        code.make(fit=False)
    except (DataOverflowError, ValueError):
        return None
    return np.array(code.modules, bool)


@lru_cache
def blocks(version: int, level: str) -> tuple[Block, ...]:
    """The blocks of a symbol, whose codewords are drawn in turn: first all data, then all checks."""
    parts = rs_blocks(version, LEVELS[level])
    data = [(place, block) for place in range(max(part.data_count for part in parts))
            for block, part in enumerate(parts) if place < part.data_count]  # fmt: skip
    checks = parts[0].total_count - parts[0].data_count
    owner = np.array([block for _, block in data] + list(range(len(parts))) * checks)
    capacity = checks - _KEPT_BACK.get((version, level), 0)
    return tuple(Block(np.nonzero(owner == number)[0], capacity) for number in range(len(parts)))


@lru_cache
def codeword_of(version: int, level: str) -> NDArray[np.intp]:
    """The number of the codeword each module belongs to, n × n; -1 for patterns, format and what is left over.

    The encoder is asked: it lays out one bit of every codeword's number at a time.
    """
    count = sum(part.total_count for part in rs_blocks(version, LEVELS[level]))
    code = QRCode(version=version, error_correction=LEVELS[level], mask_pattern=0, border=0)
    plain = _laid(code, bytes(count))
    number = np.zeros(plain.shape, np.intp)
    for bit in range(count.bit_length()):
        data = bytes(255 * ((index + 1) >> bit & 1) for index in range(count))
        number += (_laid(code, data) ^ plain).astype(np.intp) << bit
    return number - 1


def _laid(code: QRCode, data: bytes) -> Bits:
    code.data_cache = data
    code.makeImpl(test=False, mask_pattern=0)
    return np.array(code.modules, bool)


@lru_cache
def finders(version: int) -> tuple[tuple[slice, slice], ...]:
    """Where the three finder patterns lie, each with the light edge that parts it from the data."""
    last = slice(9 + 4 * version, None)
    return (slice(8), slice(8)), (slice(8), last), (last, slice(8))


@lru_cache
def alignments(version: int) -> tuple[tuple[slice, slice], ...]:
    """Where the alignment patterns lie."""
    places, end = pattern_position(version), 10 + 4 * version
    corners = {(6, 6), (6, end), (end, 6)}
    return tuple((slice(r - 2, r + 3), slice(c - 2, c + 3)) for r in places for c in places if (r, c) not in corners)


@lru_cache
def patterns(version: int) -> Bits:
    """A symbol of this version, of which only the patterns that are always the same are of use."""
    code = QRCode(version=version, error_correction=LEVELS["L"], mask_pattern=0, border=0)
    return _laid(code, b"")
