"""Code 128 (ISO/IEC 15417) as a grammar: which characters may follow which, and what they spell.

A character is its value, 0 to 105. `Spelling` is a table of states; one for our own codes, one for any text.
"""

import itertools
import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from barcode.charsets import code128 as charset
from numpy.typing import NDArray

from label_templates import codes

Floats = NDArray[np.float32]
Ints = NDArray[np.int64]
PATTERNS = np.array([[module == "1" for module in code] for code in charset.CODES], np.float32)
"""106 × 11 modules, 1 is black."""
STOP = np.array([module == "1" for module in charset.STOP + "11"], np.float32)
CHARACTER, TAIL = 11, 13
"""Modules of a character, and of the stop."""
_A, _B, _C, _B_ONCE, _A_ONCE = range(5)
_STARTS = {103: _A, 104: _B, 105: _C}
_CODE_C, _CODE_B, _CODE_A, _FNC1, _SHIFT = 99, 100, 101, 102, 98
_LETTERS = {chr(32 + value): value for value in range(64)}


@dataclass(frozen=True, slots=True)
class Spelling:
    """States × characters → next state, -1 where it may not be; what `start` leads to; which states may be the last."""

    table: NDArray[np.int16]
    start: NDArray[np.int16]
    """Rows (start character, state)."""
    final: NDArray[np.bool_]


@lru_cache(maxsize=1)
def any_text() -> Spelling:
    """Every text in the code sets A, B and C. FNC4, which few readers agree on, is left out."""
    table = np.full((5, 106), -1, np.int16)
    table[_A, :96] = table[_B_ONCE, :96] = _A
    table[_B, :96] = table[_A_ONCE, :96] = _B
    table[_C, :100] = _C
    table[[_A, _B], _CODE_C] = _C
    table[[_A, _C], _CODE_B] = _B
    table[[_B, _C], _CODE_A] = _A
    table[_A, _SHIFT], table[_B, _SHIFT] = _B_ONCE, _A_ONCE
    for kind in (_A, _B, _C):
        table[kind, _FNC1] = kind
    return Spelling(table, np.array(list(_STARTS.items()), np.int16), np.arange(5) < 3)


@lru_cache(maxsize=1)
def own_codes() -> Spelling:
    """Our codes, each in any mixture of letters (set A or B) and pairs of digits (set C)."""
    rows, starts, finals = [], [], []
    for shape in _shapes():
        first = len(rows)
        size = len(shape) + 1
        for place, in_pairs in itertools.product(range(size), (0, 1)):
            row = np.full(106, -1, np.int16)
            here = first + 2 * place
            left = shape[place : place + 2]
            if left and not in_pairs:
                row[[_LETTERS[letter] for letter in left[0]]] = here + 2
                row[_CODE_C] = here + 1
            if in_pairs and len(left) == 2:
                pairs = [int(a + b) for a in left[0] for b in left[1] if (a + b).isdecimal()]
                row[pairs] = here + 5
            if in_pairs and left:
                row[[_CODE_A, _CODE_B]] = here
            rows.append(row)
            finals.append(not left)
        starts += [(103, first), (104, first)]
    return Spelling(np.array(rows), np.array(starts, np.int16), np.array(finals))


@lru_cache(maxsize=1)
def _shapes() -> list[list[str]]:
    """Every length and kind of our codes: for each place in the text, the characters that may stand there."""
    shapes = []
    for letter in codes.LETTERS:
        pieces = re.findall(r"\[([^]]+)\](?:\{(\d+)(?:,(\d+))?\})?|([A-Z-])", codes.shape_of(letter).replace("?:", ""))
        choices = []
        for inside, least, most, plain in pieces:
            alphabet = plain or "".join(one for one in codes.ALPHABET if re.fullmatch(f"[{inside}]", one))
            lengths = range(int(least or 1), int(most or least or 1) + 1)
            choices.append([[alphabet] * length for length in lengths])
        shapes += [list(itertools.chain(*choice)) for choice in itertools.product(*choices)]
    return shapes


def nearly_ours(text: str) -> bool:
    """Whether a text has the length of a code of ours, and at most a quarter of it is what no such code has there."""
    fits = (
        sum(letter in alphabet for letter, alphabet in zip(text, shape, strict=True))
        for shape in _shapes()
        if len(shape) == len(text)
    )
    return max(fits, default=-1) >= 0.75 * len(text)


def spell(values: list[int]) -> str | None:
    """The text of a start character and its data; None where it means nothing. FNC1 is GS, but for the first."""
    state = _STARTS[values[0]]
    table = any_text().table
    text = []
    for place, value in enumerate(values[1:]):
        after = int(table[state, value])
        if after < 0:
            return None
        if value == _FNC1:
            text.append("\x1d" if place else "")
        elif state == _C:
            text.append(f"{value:02d}" if value < 100 else "")
        elif value < 96:
            in_a = state in {_A, _A_ONCE}
            text.append(chr(value - 64 if in_a and value >= 64 else value + 32))
        state = after
    return "".join(text)


@dataclass(frozen=True, slots=True)
class Path:
    """A start character and its data, the check character that it must have, and what it costs."""

    values: list[int]
    check: int
    cost: float


@dataclass(frozen=True, slots=True)
class Paths:
    """The paths found, what the cheapest row of characters costs, and the cost below which no path is missing."""

    found: list[Path]
    least: float
    limit: float


def paths(single: Floats, pair: Floats, spelling: Spelling, slack: float, most: int = 1500) -> Paths:
    """Every path `spelling` allows, with the check it needs, cheapest first.

    `single` is N × 106, what each character costs at each place (start, data, check); `pair` is N - 1 × 106 × 106, what
    two neighbours cost on top. Followed are the paths that may end within `slack` of the cheapest row of characters,
    whatever it spells, and no more than `most` at a time.
    """
    count = len(single)
    ahead = np.zeros((count, 106), np.float32)
    allowed = _allowed(count)
    for place in range(count - 2, -1, -1):
        step = single[place + 1] + ahead[place + 1]
        ahead[place] = (pair[place] + np.where(allowed[place + 1], step, np.inf)).min(1)
    least = float((single[0] + ahead[0])[103:].min())
    limit = least + slack
    state = spelling.start[:, 1].astype(np.int64)
    taken = spelling.start[:, :1].astype(np.int64)
    cost = single[0][taken[:, 0]]
    for place in range(1, count - 1):
        after = spelling.table[state]
        total = cost[:, None] + pair[place - 1][taken[:, -1]] + single[place]
        hope = np.where(after >= 0, total + ahead[place], np.inf)
        old, value = np.nonzero(hope < limit)
        if old.size > most:
            hopes = hope[old, value]
            best = np.argpartition(hopes, most)
            limit = float(hopes[best[most]])
            old, value = old[best[:most]], value[best[:most]]
        state, cost = after[old, value].astype(np.int64), total[old, value]
        taken = np.concatenate([taken[old], value[:, None]], 1)
    whole = spelling.final[state]
    taken, cost = taken[whole], cost[whole]
    check = (taken @ np.maximum(np.arange(count - 1), 1)) % 103
    cost = cost + pair[count - 2][taken[:, -1], check] + single[count - 1][check]
    order = np.argsort(cost)[:200]
    found = [Path(taken[one].tolist(), int(check[one]), float(cost[one])) for one in order]
    return Paths(found, least, limit)


def freedom(spelling: Spelling, path: Path) -> NDArray[np.float64]:
    """For each place of a path, check included, the bits that one would not know without having seen it."""
    table = spelling.table
    state = next(int(state) for value, state in spelling.start if _follows(table, int(state), path.values, int(value)))
    choices = [2]
    for value in path.values[1:]:
        choices.append(int((table[state] >= 0).sum()))
        state = int(table[state, value])
    return np.log2([*choices, 103])


def _follows(table: NDArray[np.int16], state: int, values: list[int], first: int) -> bool:
    """Whether `values` can be walked from `state`, to which `first` leads."""
    if values[0] != first:
        return False
    for value in values[1:]:
        state = int(table[state, value])
        if state < 0:
            return False
    return True


def _allowed(count: int) -> NDArray[np.bool_]:
    """Which characters may stand at which of `count` places, whatever stands beside them."""
    allowed = np.zeros((count, 106), bool)
    allowed[0, 103:] = True
    allowed[1:, :103] = True
    return allowed
