"""Stocks: what labels are printed on. Sizes in millimetres, in `stock/*.toml`."""

import tomllib
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

MM_PER_INCH = 25.4
RESOLUTIONS = (203.2, 300.0, 600.0)
"""Dots an inch of common printers; 203.2 is eight dots a millimetre."""
KINDS = ("sheet", "roll", "tag", "two-part", "page")
_SMALLEST_MM, _LARGEST_MM = 8, 500


class StockError(ValueError):
    """A stock nobody knows, or one that does not add up."""


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a label that is laid out by itself: left, top, right, bottom in millimetres of the label."""

    name: str
    box_mm: tuple[float, float, float, float]
    upside_down: bool = False
    """Whether it is printed on its head: the far half of a tag that is folded over."""

    @property
    def size_mm(self) -> tuple[float, float]:
        left, top, right, bottom = self.box_mm
        return right - left, bottom - top


@dataclass(frozen=True, slots=True)
class Stock:
    """A sheet or a roll. Everything is drawn in whole printer dots: `dots` turns millimetres into them."""

    name: str
    kind: str
    page_mm: tuple[float, float]
    label_mm: tuple[float, float]
    columns: int
    rows: int
    margin_mm: tuple[float, float]
    pitch_mm: tuple[float, float]
    corner_mm: float
    """Radius of the die-cut corners, 0 for square ones."""
    resolution_dpi: float
    """Dots an inch where the printer is not named."""
    note: str
    parts: tuple[Part, ...] = ()
    """What a label of several parts is made of; empty: the label is one."""
    thinner_dots: int = 0
    """Dots by which bars are drawn thinner than whole modules, because this printer makes them fatter."""

    @property
    def dots_per_mm(self) -> float:
        return self.resolution_dpi / MM_PER_INCH

    def dots(self, mm: float) -> int:
        """Whole dots of a length in millimetres."""
        return round(mm * self.resolution_dpi / MM_PER_INCH)

    @property
    def width(self) -> int:
        """Dots across one label."""
        return self.dots(self.label_mm[0])

    @property
    def height(self) -> int:
        return self.dots(self.label_mm[1])

    @property
    def each_page(self) -> int:
        return self.columns * self.rows

    @property
    def faces(self) -> tuple[Part, ...]:
        """The parts laid out by themselves, at least one."""
        return self.parts or (Part("label", (0, 0, *self.label_mm)),)

    def place(self, index: int) -> tuple[int, int]:
        """The top left corner, in dots from the page's, of label `index` of a page; row by row."""
        row, column = divmod(index, self.columns)
        return (
            self.dots(self.margin_mm[0] + column * self.pitch_mm[0]),
            self.dots(self.margin_mm[1] + row * self.pitch_mm[1]),
        )


_FOLDER = resources.files("label_templates").joinpath("stock")


def names() -> list[str]:
    return sorted(entry.name[:-5] for entry in _FOLDER.iterdir() if entry.name.endswith(".toml"))


def stock(name: str, resolution_dpi: float | None = None, thinner_dots: int = 0) -> Stock:
    """The stock of that name, or of that TOML file, at one of RESOLUTIONS and for a printer that prints too fat.

    Raises StockError: no such stock (lists those there are), a file that does not add up (says where), or a
    resolution no label is drawn at.
    """
    found = _own(name) if name.endswith(".toml") else _known(name)
    if resolution_dpi is not None:
        if resolution_dpi not in RESOLUTIONS:
            said = ", ".join(f"{one:g}" for one in RESOLUTIONS)
            raise StockError(f"no label is drawn at {resolution_dpi:g} dpi: choose among {said}")
        found = replace(found, resolution_dpi=resolution_dpi)
    if not 0 <= thinner_dots <= 3:
        raise StockError(f"bars are drawn thinner by 0 to 3 dots, not {thinner_dots}")
    return replace(found, thinner_dots=thinner_dots) if thinner_dots else found


@lru_cache
def _known(name: str) -> Stock:
    if name not in names():
        raise StockError(f"no stock is named {name[:40]!r}: there are {', '.join(names())}")
    return read(_FOLDER.joinpath(f"{name}.toml").read_text("utf-8"), name)


def _own(path: str) -> Stock:
    try:
        text = Path(path).read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise StockError(f"the stock file {path} cannot be read ({error}): check the path") from error
    return read(text, Path(path).stem)


_NUMBERS = {"page_mm": 2, "label_mm": 2, "margin_mm": 2, "pitch_mm": 2}
_LEFT_OUT = {"corner_mm": 0.0, "resolution_dpi": 203.2, "parts": ()}
_KEYS = {field.name for field in fields(Stock)} - {"name", "thinner_dots"}


def read(text: str, name: str) -> Stock:
    """The stock that a TOML text describes. Raises StockError saying which key of which stock is wrong, and how."""
    try:
        table: dict[str, Any] = _LEFT_OUT | tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StockError(f"stock {name} is no TOML ({error}): mend the file") from error
    if strange := sorted(table.keys() ^ _KEYS):
        wrong = "is not a key of a stock" if strange[0] in table else "is missing"
        raise StockError(f"stock {name}: {strange[0]} {wrong}: a stock has {', '.join(sorted(_KEYS))}")
    for key, count in _NUMBERS.items():
        table[key] = _lengths(table[key], count, f"stock {name}: {key}")
    for key in ("columns", "rows"):
        if not isinstance(table[key], int) or not 1 <= table[key] <= 100:
            raise StockError(f"stock {name}: {key} is {table[key]!r}: it is a number of labels from 1 to 100")
    if table["kind"] not in KINDS:
        raise StockError(f"stock {name}: kind is {table['kind']!r}: it is one of {', '.join(KINDS)}")
    table["parts"] = tuple(_part(part, name) for part in table["parts"])
    return _checked(Stock(name=name, **table))


def _lengths(value: Any, count: int, what: str) -> tuple[float, ...]:
    good = isinstance(value, list) and len(value) == count
    if not good or not all(isinstance(one, int | float) and 0 <= one <= _LARGEST_MM for one in value):
        raise StockError(f"{what} is {value!r}: it is {count} lengths from 0 to {_LARGEST_MM} mm")
    return tuple(value)


def _part(part: dict[str, Any], name: str) -> Part:
    known = {"name", "box_mm", "upside_down"}
    if not isinstance(part, dict) or not {"name", "box_mm"} <= part.keys() <= known:
        raise StockError(f"stock {name}: a part has name, box_mm and perhaps upside_down, not {part!r}")
    left, top, right, bottom = _lengths(part["box_mm"], 4, f"stock {name}: box_mm of {part['name']}")
    if right - left < _SMALLEST_MM or bottom - top < _SMALLEST_MM:
        raise StockError(f"stock {name}: the part {part['name']} is less than {_SMALLEST_MM} mm wide or high")
    return Part(str(part["name"]), (left, top, right, bottom), bool(part.get("upside_down")))


def _checked(found: Stock) -> Stock:
    name = found.name
    if found.resolution_dpi not in RESOLUTIONS:
        raise StockError(f"stock {name}: resolution_dpi is {found.resolution_dpi!r}: one of {RESOLUTIONS}")
    for axis, count in ((0, found.columns), (1, found.rows)):
        side = ("wide", "high")[axis]
        label, pitch = found.label_mm[axis], found.pitch_mm[axis]
        if label < _SMALLEST_MM:
            raise StockError(f"stock {name}: a label {label:g} mm {side} is too small for any code")
        if count > 1 and pitch < label:
            raise StockError(f"stock {name}: labels {label:g} mm {side} overlap at a pitch of {pitch:g} mm")
        end = found.margin_mm[axis] + (count - 1) * pitch + label
        if end > found.page_mm[axis] + 1e-6:
            raise StockError(
                f"stock {name}: its labels end {end:g} mm from the edge of a page {found.page_mm[axis]:g} mm {side}: "
                "mend margin_mm, pitch_mm or label_mm"
            )
    for part in found.parts:
        if part.box_mm[2] > found.label_mm[0] or part.box_mm[3] > found.label_mm[1]:
            raise StockError(f"stock {name}: the part {part.name} reaches beyond the label")
    return found
