"""The layout of a QR code by ISO/IEC 18004: the modules always the same, the data's path, what a mask turns over."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Bits = NDArray[np.bool_]
FORMAT_MASK = 0b101010000010010
_GENERATOR = 0b10100110111
LEVEL_Q = 0b11
MOST_MODULES = 57
"""Modules of version 10, the largest that is rescued: a denser one in a webcam's picture has no pixels to read from."""


@lru_cache
def known(version: int) -> NDArray[np.int8]:
    """The function patterns, n × n: 1 dark, -1 light, 0 what a code may choose (data, format, version)."""
    size = 17 + 4 * version
    grid = np.zeros((size, size), np.int8)
    finder = np.full((9, 9), -1, np.int8)
    finder[1:8, 1:8] = 1
    finder[2:7, 2:7] = -1
    finder[3:6, 3:6] = 1
    grid[:8, :8] = finder[1:, 1:]
    grid[:8, -8:] = finder[1:, :-1]
    grid[-8:, :8] = finder[:-1, 1:]
    stripes = np.where(np.arange(8, size - 8) % 2 == 0, 1, -1)
    grid[6, 8:-8] = stripes
    grid[8:-8, 6] = stripes
    grid[size - 8, 8] = 1
    for row in _alignments(version):
        for column in _alignments(version):
            if {row, column} <= {6, size - 7} and (row, column) != (size - 7, size - 7):
                continue
            grid[row - 2 : row + 3, column - 2 : column + 3] = 1
            grid[row - 1 : row + 2, column - 1 : column + 2] = -1
            grid[row, column] = 1
    return grid


@lru_cache
def _alignments(version: int) -> tuple[int, ...]:
    """Rows and columns of the alignment patterns' middles (annex E)."""
    if version == 1:
        return ()
    last, count = 10 + 4 * version, version // 7 + 2
    step = -(-(last - 6) // (count - 1) // 2) * 2 if count > 2 else last - 6
    return (6, *range(last - (count - 2) * step, last + 1, step))


@lru_cache
def formats(version: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns, 2 × 15 each, of the two copies of the format bits, the first bit first."""
    size = 17 + 4 * version
    one = [(8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)] + [(r, 8) for r in (7, 5, 4, 3, 2, 1, 0)]
    two = [(size - 1 - r, 8) for r in range(7)] + [(8, size - 8 + c) for c in range(8)]
    both = np.array([one, two])
    return both[..., 0], both[..., 1]


def format_bits(level: int, mask: int) -> Bits:
    """The fifteen bits that name a level and a mask, as they are drawn."""
    value = level << 3 | mask
    rest = value << 10
    for bit in range(4, -1, -1):
        if rest >> (bit + 10) & 1:
            rest ^= _GENERATOR << bit
    word = (value << 10 | rest) ^ FORMAT_MASK
    return np.array([word >> bit & 1 for bit in range(14, -1, -1)], bool)


@lru_cache
def path(version: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the data modules in the order their bits are written. Versions below 7."""
    size = 17 + 4 * version
    taken = known(version) != 0
    rows, columns = formats(version)
    taken[rows, columns] = True
    taken[8, 8] = True
    order = []
    right, up = size - 1, True
    while right > 0:
        right -= right == 6
        for row in range(size - 1, -1, -1) if up else range(size):
            order += [(row, column) for column in (right, right - 1) if not taken[row, column]]
        right, up = right - 2, not up
    both = np.array(order)
    return both[:, 0], both[:, 1]


@lru_cache
def mask(version: int, number: int) -> Bits:
    """The modules that mask `number` turns over, n × n."""
    size = 17 + 4 * version
    row, column = np.mgrid[0:size, 0:size]
    both = row * column
    rules = (
        (row + column) % 2, row % 2, column % 3, (row + column) % 3, (row // 2 + column // 3) % 2, both % 2 + both % 3,
        (both % 2 + both % 3) % 2, ((row + column) % 2 + both % 3) % 2,
    )  # fmt: skip
    return np.asarray(rules[number] == 0)
