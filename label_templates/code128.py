"""Code 128 written as short as it can be: the cheapest way through code sets A, B and C (ISO/IEC 15417)."""

from functools import lru_cache

from barcode.charsets import code128 as charset

_START = {"A": 103, "B": 104, "C": 105}
_TO = {"A": 101, "B": 100, "C": 99}
"""The character that changes to a code set, whichever one is in force."""
_SHIFT, _STOP, _MODULUS = 98, 106, 103


def _value(letter: str, code_set: str) -> int | None:
    """The symbol character of an ASCII letter in set A (0–95) or B (32–127); None where the set lacks it."""
    point = ord(letter)
    if code_set == "A":
        return None if point >= 96 else (point - 32) % 96
    return point - 32 if point >= 32 else None


@lru_cache(maxsize=1024)
def characters(text: str) -> tuple[int, ...]:
    """The symbol characters of ASCII `text`, start, check and stop included; no sequence is shorter.

    The shortest way is found from the end: `best[i][s]` holds what is left to write from letter `i` on in set `s`.
    Raises ValueError for characters outside ASCII, or none at all.
    """
    if not text or not text.isascii():
        raise ValueError(f"{text!r} cannot be written in Code 128: letters, digits and signs of ASCII only")
    best: list[dict[str, tuple[int, ...]]] = [{"A": (), "B": (), "C": ()}]
    for place in range(len(text) - 1, -1, -1):
        best.insert(0, _from(text, place, best))
    code_set = min(_START, key=lambda one: len(best[0][one]))
    values = (_START[code_set], *best[0][code_set])
    check = (values[0] + sum(weight * value for weight, value in enumerate(values[1:], 1))) % _MODULUS
    return (*values, check, _STOP)


def _from(text: str, place: int, best: list[dict[str, tuple[int, ...]]]) -> dict[str, tuple[int, ...]]:
    """The shortest rests from letter `place` on, by the set in force; `best` begins with those one letter later."""
    after = best[0]
    stay: dict[str, tuple[int, ...]] = {}
    for code_set, other in (("A", "B"), ("B", "A")):
        value, shifted = _value(text[place], code_set), _value(text[place], other)
        if value is not None:
            stay[code_set] = (value, *after[code_set])
        elif shifted is not None:
            stay[code_set] = (_SHIFT, shifted, *after[code_set])
    pair = text[place : place + 2]
    if len(pair) == 2 and pair.isdigit():
        stay["C"] = (int(pair), *best[1]["C"])
    return {code_set: _shortest(code_set, stay) for code_set in "ABC"}


def _shortest(code_set: str, stay: dict[str, tuple[int, ...]]) -> tuple[int, ...]:
    moves = [stay[code_set]] if code_set in stay else []
    moves += [(_TO[other], *rest) for other, rest in stay.items() if other != code_set]
    return min(moves, key=len)


def modules(values: tuple[int, ...]) -> tuple[bool, ...]:
    """The modules of symbol characters, True black: 11 a character, 13 for the stop."""
    last = charset.STOP + "11"
    return tuple(module == "1" for value in values for module in (last if value == _STOP else charset.CODES[value]))
