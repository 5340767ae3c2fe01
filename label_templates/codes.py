"""The codes on every label: how they are minted, read and checked.

A code is `KIND-SITE-…-CHECK` in upper case letters, digits and hyphens, so that QR alphanumeric mode and
Code 128 both carry it. The check character is ISO 7064 MOD 37-2 over the code without hyphens; it alone may
be `*`. Nothing that fails here is shown to the rest of Foldmark.
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

ALPHABET: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
_VALUE: Final = {letter: value for value, letter in enumerate(ALPHABET)}

_SITE = r"(?P<site>[A-Z0-9]{2})"
_SHAPES: Final = {
    "S": ("set", rf"S-{_SITE}-(?P<number>\d{{4}})", "S-K7-0042-*"),
    "P": ("pack", rf"P-{_SITE}-(?P<number>\d{{4}})-(?P<turn>\d{{4}})", "P-K7-0042-0017-R"),
    "L": ("steam load", rf"L-{_SITE}-(?P<machine>[1-9A-Z])-(?P<number>\d{{4}})", "L-K7-1-0331-K"),
    "W": ("wash load", rf"W-{_SITE}-(?P<machine>[1-9A-Z])-(?P<number>\d{{4}})", "W-K7-1-0120-1"),
    "B": ("badge", rf"B-{_SITE}-(?P<number>\d{{3}})", "B-K7-003-J"),
    "H": ("shelf", rf"H-{_SITE}-(?P<number>\d{{3}})", "H-K7-002-7"),
    "A": ("patient", rf"A-{_SITE}-(?P<number>\d{{6}})", "A-K7-000812-4"),
    "C": ("case", rf"C-{_SITE}-(?P<number>\d{{4,6}})", "C-K7-0119-2"),
    "I": ("instrument", rf"I-{_SITE}-(?P<number>\d{{5}})", "I-K7-00417-V"),
    "K": ("bench card", r"K-(?P<word>[A-Z0-9]{1,10})", "K-WET-E"),
}
LETTERS: Final = tuple(_SHAPES)
"""The first letter of every kind."""
_PATTERNS: Final = {
    letter: re.compile(rf"(?P<body>{shape})-(?P<check>[0-9A-Z*])") for letter, (_, shape, _) in _SHAPES.items()
}
_OUTSIDE = re.compile(r"[^0-9A-Z*-]")
LONGEST: Final = 20


class CodeError(ValueError):
    """A text that is not one of our codes. `fault` is `shape`, `alphabet` or `check`."""

    def __init__(self, fault: str, message: str) -> None:
        super().__init__(message)
        self.fault = fault


@dataclass(frozen=True, slots=True)
class Code:
    """A code that has passed every check. `text` is the whole of it, hyphens and check character included."""

    text: str
    letter: str
    site: str | None = None
    number: int | None = None
    turn: int | None = None
    machine: str | None = None
    word: str | None = None

    @property
    def kind(self) -> str:
        """What the trade calls it: `set`, `pack`, `steam load`, …"""
        return _SHAPES[self.letter][0]

    def __str__(self) -> str:
        return self.text


def check_character(body: str) -> str:
    """The ISO 7064 MOD 37-2 check character of `body`; hyphens do not count.

    Raises CodeError (`alphabet`) when a character is outside 0–9, A–Z.
    """
    product = 0
    for letter in body:
        if letter == "-":
            continue
        value = _VALUE.get(letter)
        if value is None or value == 36:
            raise CodeError("alphabet", f"{letter!r} cannot be part of a code: use A to Z, 0 to 9")
        product = (product + value) * 2 % 37
    return ALPHABET[(38 - product) % 37]


@lru_cache(maxsize=16384)
def parse(text: str) -> Code:
    """The code that `text` is. Raises CodeError saying which of shape, alphabet and check was wrong."""
    if len(text) > LONGEST or not text:
        raise CodeError("shape", f"a code has 1 to {LONGEST} characters, this text has {len(text)}")
    if outside := _OUTSIDE.search(text):
        raise CodeError("alphabet", f"{outside.group()!r} cannot be part of a code: use A to Z, 0 to 9")
    pattern = _PATTERNS.get(text[0])
    if pattern is None:
        raise CodeError("shape", f"no kind of code begins with {text[0]!r}")
    match = pattern.fullmatch(text)
    kind, _, example = _SHAPES[text[0]]
    if match is None:
        raise CodeError("shape", f"{text} is not the shape of a {kind} code such as {example}")
    parts = match.groupdict()
    expected = check_character(parts.pop("body"))
    if parts.pop("check") != expected:
        raise CodeError("check", f"the check character of {text} is wrong: scan it again")
    for name in ("number", "turn"):
        if parts.get(name) is not None:
            parts[name] = int(parts[name])
    if parts.get("turn") == 0:
        raise CodeError("shape", f"{text} names turn 0: turns count from 1")
    return Code(text, text[0], **parts)  # type: ignore[arg-type]


def parse_as(text: str, *letters: str) -> Code:
    """The code that `text` is, when it is of one of the kinds `letters`; CodeError (`shape`) otherwise."""
    code = parse(text)
    if code.letter not in letters:
        wanted = " or ".join(_SHAPES[letter][0] for letter in letters)
        raise CodeError("shape", f"{text} is a {code.kind} code, and a {wanted} code is needed here")
    return code


def shape_of(*letters: str) -> str:
    """The shape of a code of one of these kinds, as a regular expression that JSON Schema knows too."""
    shapes = (re.sub(r"\?P<\w+>", "?:", _SHAPES[letter][1]).replace(r"\d", "[0-9]") for letter in letters)
    return f"^(?:{'|'.join(shapes)})-[0-9A-Z*]$"


def is_code(text: str) -> bool:
    """Whether `text` is one of our codes, every check passed."""
    try:
        parse(text)
    except CodeError:
        return False
    return True


def _mint(body: str) -> Code:
    return parse(f"{body}-{check_character(body)}")


def _numbered(letter: str, site: str, number: int, width: int, most: int) -> Code:
    if not 0 <= number <= most:
        raise CodeError("shape", f"a {_SHAPES[letter][0]} number lies between 0 and {most}, not {number}")
    return _mint(f"{letter}-{site}-{number:0{width}d}")


def set_code(site: str, serial: int) -> Code:
    return _numbered("S", site, serial, 4, 9999)


def pack_code(set_text: str, turn: int) -> Code:
    """The code of turn `turn` (1 to 9999) of the set with the code `set_text`."""
    owner = parse_as(set_text, "S")
    if not 1 <= turn <= 9999:
        raise CodeError("shape", f"a turn lies between 1 and 9999, not {turn}: retire the tag and register a new one")
    return _mint(f"P-{owner.site}-{owner.number:04d}-{turn:04d}")


def set_of_pack(pack_text: str) -> Code:
    """The code of the set whose turn this pack is."""
    pack = parse_as(pack_text, "P")
    return set_code(str(pack.site), int(pack.number or 0))


def load_code(machine: str, number: int) -> Code:
    """The code of load `number` of a machine named like `L-K7-1` (steam) or `W-K7-1` (wash)."""
    if not re.fullmatch(r"[LW]-[A-Z0-9]{2}-[1-9A-Z]", machine):
        raise CodeError("shape", f"{machine!r} is not a machine such as L-K7-1 or W-K7-1")
    if not 0 <= number <= 9999:
        raise CodeError("shape", f"a load number lies between 0 and 9999, not {number}")
    return _mint(f"{machine}-{number:04d}")


def machine_of(load_text: str) -> str:
    """The machine a load belongs to, such as `L-K7-1`: it is the first part of the load's code."""
    return parse_as(load_text, "L", "W").text[:6]


def badge_code(site: str, number: int) -> Code:
    return _numbered("B", site, number, 3, 999)


def shelf_code(site: str, number: int) -> Code:
    return _numbered("H", site, number, 3, 999)


def patient_code(site: str, number: int) -> Code:
    return _numbered("A", site, number, 6, 999_999)


def case_code(site: str, number: int) -> Code:
    return _numbered("C", site, number, 4, 999_999)


def instrument_code(site: str, number: int) -> Code:
    return _numbered("I", site, number, 5, 99_999)


def card_code(word: str) -> Code:
    return _mint(f"K-{word}")
