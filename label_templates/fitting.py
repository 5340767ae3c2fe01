"""Fitting: words set into a room, in the largest size they fit in, broken between words, shortened only at the end."""

from functools import lru_cache

from label_templates import fonts
from label_templates.designs import LINE

SHORTENED = "…"
ABOVE = 0.98
"""Em above a baseline that a letter with its accent takes."""
_STEPS = 9
_LONGEST = 400


def sizes_between(largest: int, least: int) -> tuple[int, ...]:
    """Sizes from the largest to the least, evenly apart as the eye sees them."""
    return tuple(dict.fromkeys(round(largest * (least / largest) ** (step / _STEPS)) for step in range(_STEPS + 1)))


Line = tuple[str, str, int]
"""A line's text, weight and size."""


@lru_cache(maxsize=4096)
def fitted(
    entries: tuple[tuple[str, str], ...], sizes: tuple[int, ...], most: int, room: tuple[int, int], *, shorten: bool
) -> tuple[Line, ...] | None:
    """The lines of entries (text, weight) in the largest size in which all of it fits a room (wide, high, dots).

    An entry is broken between words into `most` lines. Only in the least size is anything shortened, or None returned.
    """
    width, height = room
    for size in sizes:
        lines: list[Line] = []
        for text, weight in entries:
            broken = _broken(text, weight, size, width, most)
            if broken is None:
                break
            lines += [(line, weight, size) for line in broken]
        else:
            if height_of(len(lines), size) <= height:
                return tuple(lines)
    return _shortened_lines(entries, sizes[-1], most, width, height) if shorten else None


def height_of(lines: int, size: int) -> float:
    """Dots from the top of the first line's accents to the bottom of the last line's descenders."""
    return size * ((lines - 1) * LINE + ABOVE + 0.24)


def _broken(text: str, weight: str, size: int, width: int, most: int) -> list[str] | None:
    """`text` in at most `most` lines, broken between words; None when it takes more."""
    if len(text) > _LONGEST:
        return None
    if fonts.width(text, weight, size) <= width:
        return [text]
    if most == 1:
        return None
    lines = [""]
    for word in text.split(" "):
        grown = f"{lines[-1]} {word}" if lines[-1] else word
        if fonts.width(grown, weight, size) <= width:
            lines[-1] = grown
        elif lines[-1] and len(lines) < most and fonts.width(word, weight, size) <= width:
            lines.append(word)
        else:
            return None
    return lines


def _shortened_lines(
    entries: tuple[tuple[str, str], ...], size: int, most: int, width: int, height: int
) -> tuple[Line, ...] | None:
    """What fits of the entries in this size, the end of what does not left out and marked so."""
    lines: list[Line] = []
    for text, weight in entries:
        lines += [(line, weight, size) for line in _cut(text[:_LONGEST], weight, size, width, most)]
    room = next((count for count in range(len(lines), 0, -1) if height_of(count, size) <= height), 0)
    if room == 0:
        return None
    kept = lines[:room]
    if room < len(lines):
        text, weight, _ = kept[-1]
        kept[-1] = (_ended(text + " ", weight, size, width, always=True), weight, size)
    return tuple(kept)


def _cut(text: str, weight: str, size: int, width: int, most: int) -> list[str]:
    """`text` in at most `most` lines; a word too long is broken, and the last line may be shortened."""
    lines, words = [""], text.split(" ")
    for index, word in enumerate(words):
        grown = f"{lines[-1]} {word}" if lines[-1] else word
        if fonts.width(grown, weight, size) <= width:
            lines[-1] = grown
        elif len(lines) < most and lines[-1]:
            lines.append(word)
        else:
            lines[-1] = " ".join([lines[-1], *words[index:]]).strip()
            break
    return [_ended(line, weight, size, width) for line in lines]


def _ended(line: str, weight: str, size: int, width: int, *, always: bool = False) -> str:
    """`line`, or as much of its beginning as fits before the sign that something was left out."""
    if not always and fonts.width(line, weight, size) <= width:
        return line
    low, high = 0, len(line)
    while low < high:
        middle = (low + high + 1) // 2
        fits = fonts.width(line[:middle].rstrip() + SHORTENED, weight, size) <= width
        low, high = (middle, high) if fits else (low, middle - 1)
    return line[:low].rstrip() + SHORTENED
