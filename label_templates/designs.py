"""Designs: where each field of a label stands, in millimetres. In `designs/*.toml`, or a file of one's own.

A design has layouts for labels of different sizes, the first that fits is used. A box is left, top, right, bottom; what
is negative counts from the far edge, so that a layout grows with its label.
"""

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import combinations
from pathlib import Path
from typing import Any

from label_templates.labels import Label, LabelError
from label_templates.samples import SAMPLES

Box = tuple[float, float, float, float]
Size = tuple[float, float]
WEIGHTS = ("regular", "bold", "mono")
WHEN_LONG = ("shorten", "refuse")
ALIGNED = ("left", "centre", "right")
STANDING = ("top", "middle", "bottom")
LINE = 1.2
"""Em from one baseline to the next."""


class DesignError(LabelError):
    """A design nobody knows, or one that does not add up."""


@dataclass(frozen=True, slots=True)
class Block:
    """Fields set under one another in one size: as large as the box allows, between the two sizes (mm to the em)."""

    fields: tuple[str, ...]
    box: Box
    size_mm: Size
    lines: int = 1
    """Lines that one entry may be broken into."""
    weight: str = "regular"
    bold: tuple[str, ...] = ()
    """Fields of these that are set bold."""
    long: str = "shorten"
    """What becomes of a text too long even in the smallest size."""
    align: str = "left"
    stand: str = "top"
    follows: bool = False
    """Whether it begins where the block before it ended, when that left room."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a symbol of the label's code stands, its quiet zone included, as large as the box allows."""

    symbology: str
    box: Box
    under: str = "code"
    """The field set under it, or none."""
    level: str = "Q"
    least_mm: float = 0.25
    """The least width of a module."""
    most_mm: float = 1.0
    optional: bool = False
    """Whether a label too small for it does without."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Symbols of all the codes of a form, in columns, what each stands for under it."""

    box: Box
    columns: int
    rows: int


@dataclass(frozen=True, slots=True)
class Table:
    """A ruled table to write in: heads with the share of the width each has, and how many lines."""

    box: Box
    heads: tuple[tuple[str, float], ...]
    rows: int


@dataclass(frozen=True, slots=True)
class Layout:
    """One arrangement, for labels from `least_mm` to `most_mm` (wide, high); `part` names the part it is for."""

    least_mm: Size
    most_mm: Size
    part: str | None
    blocks: tuple[Block, ...]
    symbols: tuple[Place, ...]
    band: Box | None
    grid: Grid | None
    table: Table | None

    def suits(self, part: str, size_mm: Size) -> bool:
        wide, high = size_mm
        fits = self.least_mm[0] <= wide <= self.most_mm[0] and self.least_mm[1] <= high <= self.most_mm[1]
        return fits and self.part in {None, part}

    def boxes(self) -> list[tuple[str, Box]]:
        """Everything that takes up room, with what to call it."""
        found = [(f"the text {' '.join(block.fields)}", block.box) for block in self.blocks]
        found += [(f"the {place.symbology}", place.box) for place in self.symbols]
        found += [("the band", self.band)] if self.band else []
        found += [("the grid", self.grid.box)] if self.grid else []
        return found + ([("the table", self.table.box)] if self.table else [])


@dataclass(frozen=True, slots=True)
class Design:
    """A design for one kind of label, read from `read_at_mm` away."""

    name: str
    kind: str
    says: str
    read_at_mm: float
    layouts: tuple[Layout, ...]

    def layout(self, part: str, size_mm: Size) -> Layout | None:
        """The first layout that suits a part of this size; None when there is none."""
        return next((one for one in self.layouts if one.suits(part, size_mm)), None)


def resolved(box: Box, size_mm: Size) -> Box:
    """A box on a label of this size (mm): what is negative counts from the far edge."""
    wide, high = size_mm
    left, top, right, bottom = (
        value if value >= 0 else side + value for value, side in zip(box, (wide, high, wide, high), strict=True)
    )
    return left, top, right, bottom


_FOLDER = resources.files("label_templates").joinpath("designs")


def names() -> list[str]:
    return sorted(entry.name[:-5] for entry in _FOLDER.iterdir() if entry.name.endswith(".toml"))


def design(name: str) -> Design:
    """The design of that name, or of that TOML file. Raises DesignError."""
    if not name.endswith(".toml"):
        return _known(name)
    try:
        text = Path(name).read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise DesignError(f"the design file {name} cannot be read ({error}): check the path") from error
    return read(text, Path(name).stem)


@lru_cache
def _known(name: str) -> Design:
    if name not in names():
        raise DesignError(f"no design is named {name[:40]!r}: there are {', '.join(names())}")
    return read(_FOLDER.joinpath(f"{name}.toml").read_text("utf-8"), name)


def design_for(label: Label, name: str | None = None) -> Design:
    """The design to draw a label with: the one named, or that of its kind. Raises DesignError if it is for another."""
    found = design(name or label.kind)
    if found.kind != label.kind:
        raise DesignError(f"design {found.name} is for a {found.kind} label, and this is a {label.kind} label")
    return found


def fields_of(kind: str) -> list[str]:
    """The fields that a kind of label has."""
    return ["code", *SAMPLES[kind].words()]


def read(text: str, name: str) -> Design:
    """The design that a TOML text describes. Raises DesignError saying which layout is wrong, where, and why."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DesignError(f"design {name} is no TOML ({error}): mend the file") from error
    known = {"kind", "says", "read_at_mm", "layout"}
    if strange := sorted(table.keys() ^ known):
        raise DesignError(f"design {name}: {strange[0]} is {'unknown' if strange[0] in table else 'missing'}: "
                          f"a design has {', '.join(sorted(known))}")  # fmt: skip
    if table["kind"] not in SAMPLES:
        raise DesignError(f"design {name}: no label is a {table['kind']!r}: there are {', '.join(SAMPLES)}")
    if not isinstance(table["read_at_mm"], int | float) or not 50 <= table["read_at_mm"] <= 2000:
        raise DesignError(f"design {name}: read_at_mm is a distance from 50 to 2000 mm, not {table['read_at_mm']!r}")
    layouts = []
    for number, one in enumerate(table["layout"], 1):
        try:
            layouts.append(_layout(one, table["kind"]))
        except (DesignError, TypeError, ValueError, KeyError) as error:
            raise DesignError(f"design {name}, layout {number}: {error}") from error
    return Design(name, table["kind"], str(table["says"]), float(table["read_at_mm"]), tuple(layouts))


def _layout(table: dict[str, Any], kind: str) -> Layout:
    _keys(table, "a layout", {"least_mm"}, {"most_mm", "part", "blocks", "symbols", "band", "grid", "table"})
    found = Layout(
        _size(table["least_mm"], "least_mm"), _size(table.get("most_mm", [200, 120]), "most_mm"), table.get("part"),
        tuple(_block(one, kind) for one in table.get("blocks", ())),
        tuple(_place(one, kind) for one in table.get("symbols", ())),
        _box(table["band"], "the band") if "band" in table else None,
        _grid(table["grid"]) if "grid" in table else None,
        _table(table["table"]) if "table" in table else None,
    )  # fmt: skip
    if not found.symbols and not found.grid:
        raise DesignError("it has no symbol: a label without its code cannot be scanned")
    check_room(found, found.least_mm)
    return found


def check_room(layout: Layout, size_mm: Size) -> None:
    """Raise DesignError unless every box lies on a label of this size (mm), none over another."""
    boxes = [(what, resolved(box, size_mm)) for what, box in layout.boxes()]
    said = f"on a label of {size_mm[0]:g} × {size_mm[1]:g} mm"
    for what, (left, top, right, bottom) in boxes:
        if not (0 <= left < right <= size_mm[0] and 0 <= top < bottom <= size_mm[1]):
            raise DesignError(f"{what} has no room {said}: its box is {left:g}, {top:g}, {right:g}, {bottom:g}")
    for (what, one), (other, two) in combinations(boxes, 2):
        across, down = min(one[2], two[2]) - max(one[0], two[0]), min(one[3], two[3]) - max(one[1], two[1])
        if across > 1e-6 and down > 1e-6:
            raise DesignError(f"{what} and {other} overlap by {across:.1f} × {down:.1f} mm {said}: move one of them")
    before = None
    for block in layout.blocks:
        left, top, right, bottom = resolved(block.box, size_mm)
        if block.follows and (before is None or not before[0] <= left < right <= before[2]):
            raise DesignError(
                f"the text {' '.join(block.fields)} follows nothing {said}: it has to stand below the block before it, "
                "no wider"
            )
        before = left, top, right, bottom
        if bottom - top < block.size_mm[1] * LINE:
            raise DesignError(f"the text {' '.join(block.fields)} has {bottom - top:.1f} mm {said}, less than one line "
                              f"of its smallest size {block.size_mm[1]:g} mm")  # fmt: skip


def _keys(table: Any, what: str, needed: set[str], others: set[str]) -> None:
    if not isinstance(table, dict):
        raise DesignError(f"{what} is a table, not {table!r}")
    if missing := sorted(needed - table.keys()):
        raise DesignError(f"{what} has no {missing[0]}")
    if strange := sorted(table.keys() - needed - others):
        raise DesignError(f"{strange[0]} is unknown: {what} has {', '.join(sorted(needed | others))}")


def _numbers(value: Any, count: int, what: str) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) != count or not all(isinstance(one, int | float) for one in value):
        raise DesignError(f"{what} is {count} numbers of millimetres, not {value!r}")
    return tuple(float(one) for one in value)


def _size(value: Any, what: str) -> Size:
    wide, high = _numbers(value, 2, what)
    return wide, high


def _box(value: Any, what: str) -> Box:
    left, top, right, bottom = _numbers(value, 4, f"the box of {what}")
    return left, top, right, bottom


def _field(name: Any, kind: str) -> str:
    if name not in fields_of(kind):
        raise DesignError(f"{name!r} is no field of a {kind} label: it has {', '.join(fields_of(kind))}")
    return str(name)


def _one_of(table: dict[str, Any], key: str, choices: tuple[str, ...], otherwise: str) -> str:
    value = table.get(key, otherwise)
    if value not in choices:
        raise DesignError(f"{key} is {value!r}: it is one of {', '.join(choices)}")
    return str(value)


def _block(table: Any, kind: str) -> Block:
    _keys(table, "a block", {"fields", "box_mm", "size_mm"},
          {"lines", "weight", "bold", "long", "align", "stand", "follows"})  # fmt: skip
    fields = tuple(_field(name, kind) for name in table["fields"])
    largest, least = _size(table["size_mm"], "size_mm")
    if not 1.2 <= least <= largest <= 60:
        raise DesignError(f"size_mm is the largest and the least size, from 60 down to 1.2 mm, not {table['size_mm']}")
    return Block(
        fields, _box(table["box_mm"], f"the text {' '.join(fields)}"), (largest, least), int(table.get("lines", 1)),
        _one_of(table, "weight", WEIGHTS, "regular"), tuple(_field(name, kind) for name in table.get("bold", ())),
        _one_of(table, "long", WHEN_LONG, "shorten"), _one_of(table, "align", ALIGNED, "left"),
        _one_of(table, "stand", STANDING, "top"), bool(table.get("follows", False)),
    )  # fmt: skip


def _place(table: Any, kind: str) -> Place:
    _keys(table, "a symbol", {"symbology", "box_mm"}, {"under", "level", "least_mm", "most_mm", "optional"})
    under = table.get("under", "code")
    found = Place(
        _one_of(table, "symbology", ("QR", "CODE128"), "QR"), _box(table["box_mm"], f"the {table['symbology']}"),
        _field(under, kind) if under else "", _one_of(table, "level", ("L", "M", "Q", "H"), "Q"),
        float(table.get("least_mm", 0.25)), float(table.get("most_mm", 1.0)), bool(table.get("optional", False)),
    )  # fmt: skip
    if not 0.15 <= found.least_mm <= found.most_mm:
        raise DesignError(f"a module is at least 0.15 mm wide, not from {found.least_mm:g} to {found.most_mm:g}")
    return found


def _grid(table: Any) -> Grid:
    _keys(table, "a grid", {"box_mm", "columns", "rows"}, set())
    return Grid(_box(table["box_mm"], "the grid"), int(table["columns"]), int(table["rows"]))


def _table(table: Any) -> Table:
    _keys(table, "a table", {"box_mm", "heads", "rows"}, set())
    heads = tuple((str(head), float(share)) for head, share in table["heads"])
    return Table(_box(table["box_mm"], "the table"), heads, int(table["rows"]))
