"""Layout: a label put into whole printer dots by its design, once; picture and PDF are both drawn from it."""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

from label_templates import fonts, labels
from label_templates.bands import band
from label_templates.designs import (
    LINE,
    Block,
    Box,
    Design,
    DesignError,
    Grid,
    Layout,
    Place,
    Table,
    check_room,
    design_for,
    resolved,
)
from label_templates.fitting import ABOVE, Line, fitted, height_of, sizes_between
from label_templates.labels import Label, Mark, OutageForm, Words
from label_templates.samples import SAMPLES
from label_templates.stocks import Part, Stock
from label_templates.symbols import Symbol, SymbolError, code128, qr

READ = 0.00225
"""Millimetres a QR module needs for each it is read from: 2.5 pixels of a camera of 1280 across 60°."""
_OURS = 21
"""Modules across a QR code of one of our codes, the ones that are scanned from a distance."""
_UNDER_MM = (2.8, 1.7)
"""The largest and the least size of the code in letters under its symbol."""


class LayoutError(ValueError):
    """A label that does not fit its stock."""


@dataclass(frozen=True, slots=True)
class Text:
    """Text whose baseline begins at (x, y); `size` in dots to the em."""

    x: int
    y: int
    text: str
    weight: str
    size: int


@dataclass(frozen=True, slots=True)
class Placed:
    """A symbol whose top left module stands at (x, y). A module is `module` dots wide and `tall` dots high."""

    x: int
    y: int
    symbol: Symbol
    module: int
    tall: int
    thinner: int = 0
    """Dots taken off each black stretch, because the printer makes it fatter."""


@dataclass(frozen=True, slots=True)
class Face:
    """A part of a label, or the whole of it, in dots from its own top left corner, which stands at (x, y)."""

    x: int
    y: int
    width: int
    height: int
    upside_down: bool
    boxes: tuple[tuple[int, int, int, int], ...]
    symbols: tuple[Placed, ...]
    texts: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Drawing:
    """Everything on one label, in dots from its top left corner."""

    width: int
    height: int
    faces: tuple[Face, ...]

    @property
    def symbols(self) -> list[Placed]:
        return [placed for face in self.faces for placed in face.symbols]

    @property
    def texts(self) -> list[Text]:
        return [text for face in self.faces for text in face.texts]


def lay_out(label: Label, stock: Stock, design: str | None = None) -> Drawing:
    """`label` on `stock`, by the design named or that of its kind.

    Raises LayoutError, GlyphError, LabelError, SymbolError or CodeError when it cannot be drawn right.
    """
    plans = _plans(design_for(label, design), stock)
    words = label.words() | {"code": label.code}
    return Drawing(stock.width, stock.height, tuple(_face(label, words, plan, stock) for plan in plans))


Plan = tuple[Part, Layout, float]
"""A part of a label, its layout, and the millimetres it is read from."""


@lru_cache(maxsize=512)
def _plans(design: Design, stock: Stock) -> tuple[Plan, ...]:
    """For each part of a label its layout. Raises LayoutError when the design has none that the stock has room for."""
    plans = []
    for part in stock.faces:
        layout = design.layout(part.name, part.size_mm)
        size = f"{part.size_mm[0]:g} × {part.size_mm[1]:g} mm"
        if layout is None:
            smallest, largest = design.layouts[-1].least_mm, design.layouts[0].most_mm
            raise LayoutError(
                f"design {design.name} has no layout for {size} (stock {stock.name}): its layouts are for labels from "
                f"about {smallest[0]:g} × {smallest[1]:g} to {largest[0]:g} × {largest[1]:g} mm"
            )
        try:
            check_room(layout, part.size_mm)
        except DesignError as error:
            raise LayoutError(f"design {design.name} does not fit stock {stock.name}: {error}") from error
        plans.append((part, layout, design.read_at_mm))
    return tuple(plans)


def why_not(design: Design, stock: Stock) -> str | None:
    """Why the sample of a design's kind cannot be laid out on a stock; None when it can."""
    try:
        plans = _plans(design, stock)
        label = SAMPLES[design.kind]
        words = label.words() | {"code": label.code}
        for plan in plans:
            _face(label, words, plan, stock)
    except (LayoutError, SymbolError) as error:
        return str(error)
    return None


@dataclass(frozen=True, slots=True)
class _Room:
    """A box in dots, on a stock."""

    left: int
    top: int
    right: int
    bottom: int
    stock: Stock

    @property
    def width(self) -> int:
        return self.right - self.left

    @property
    def height(self) -> int:
        return self.bottom - self.top


def _face(label: Label, words: Words, plan: Plan, stock: Stock) -> Face:
    part, layout, read_at_mm = plan

    def room(box: Box) -> _Room:
        left, top, right, bottom = (stock.dots(side) for side in resolved(box, part.size_mm))
        return _Room(left, top, right, bottom, stock)

    symbols, texts, boxes = [], [], []
    for place in layout.symbols:
        if (drawn := _symbol(words, place, room(place.box), read_at_mm)) is not None:
            symbols.append(drawn[0])
            texts += drawn[1]
    end = 0
    for block in layout.blocks:
        where = room(block.box)
        if block.follows:
            where = replace(where, top=min(where.top, end))
        found = _block(words, block, where)
        end = round(found[-1].y + found[-1].size * 0.5) if found else where.top
        texts += found
    mark: Mark | None = getattr(label, "mark", None)
    if layout.band and mark:
        where = room(layout.band)
        boxes += band(mark.pattern, where.left, where.top, where.width, where.height)
    if layout.grid and isinstance(label, OutageForm):
        more = _grid(label, layout.grid, room(layout.grid.box), read_at_mm)
        symbols += [placed for placed, _ in more]
        texts += [text for _, under in more for text in under]
    if layout.table:
        lines, heads = _table(layout.table, room(layout.table.box))
        boxes += lines
        texts += heads
    left, top, right, bottom = (stock.dots(side) for side in part.box_mm)
    return Face(left, top, right - left, bottom - top, part.upside_down, tuple(boxes), tuple(symbols), tuple(texts))


def _symbol(words: Words, place: Place, room: _Room, read_at_mm: float) -> tuple[Placed, list[Text]] | None:
    """The symbol in its box, as large as whole dots let it be, and what is set under it."""
    code, stock = str(words["code"]), room.stock
    symbol = qr(code, level=place.level) if place.symbology == "QR" else code128(code)
    under = str(words[place.under]) if place.under else ""
    size = _size_under(under, room)
    below = round(size * LINE)
    across = symbol.width + 2 * symbol.quiet
    most = min(room.width // across, stock.dots(place.most_mm))
    if place.symbology == "QR":
        most = min(most, (room.height - below) // across)
    least_mm = max(place.least_mm, read_at_mm * READ) if symbol.width == _OURS else place.least_mm
    least = math.ceil(least_mm * stock.dots_per_mm - 1e-9)
    if most < least or (place.symbology == "CODE128" and room.height - below < stock.dots(5)):
        if place.optional:
            return None
        raise LayoutError(
            f"the {place.symbology} of {code[:20]} is below its least size on stock {stock.name}: a module would be "
            f"{max(most, 0) / stock.dots_per_mm:.2f} mm where {least / stock.dots_per_mm:.2f} mm are needed"
        )
    return _placed(symbol, most, room, under, size)


def _size_under(text: str, room: _Room) -> int:
    """The size of what is set under a symbol: the largest whose line is no wider than its box."""
    if not text:
        return 0
    largest, least = (room.stock.dots(size) for size in _UNDER_MM)
    size = next((one for one in range(largest, least - 1, -1) if fonts.mono_width(text, one) <= room.width), None)
    if size is None:
        raise LayoutError(f"{text[:20]} does not fit under its symbol on stock {room.stock.name}: use a larger label")
    return size


def _placed(symbol: Symbol, module: int, room: _Room, under: str, size: int) -> tuple[Placed, list[Text]]:
    """The symbol and its line, in the middle of the box."""
    side = (symbol.width + 2 * symbol.quiet) * module
    quiet = symbol.quiet * module
    below = round(size * LINE)
    left = room.left + (room.width - side) // 2
    if symbol.symbology == "QR":
        top, tall, free = room.top + (room.height - side - below) // 2, module, quiet
        end = top + side
    else:
        top, tall, free = room.top, room.height - below, 0
        end = top + tall
    texts = []
    if under:
        wide = fonts.mono_width(under, size)
        texts = [Text(room.left + int((room.width - wide) / 2), end + round(size * 0.9), under, "mono", size)]
    return Placed(left + quiet, top + free, symbol, module, tall, room.stock.thinner_dots), texts


def _block(words: Words, block: Block, room: _Room) -> list[Text]:
    entries = tuple(
        (text, "bold" if field in block.bold else block.weight)
        for field in block.fields
        for text in _entries(words[field])
    )
    if not entries:
        return []
    for text, weight in entries:
        fonts.check(text.replace(labels.TIGHT, " "), weight)
    sizes = sizes_between(*(room.stock.dots(size) for size in block.size_mm))
    lines = fitted(entries, sizes, block.lines, (room.width, room.height), shorten=block.long == "shorten")
    if lines is None:
        said = " / ".join(text for text, _ in entries)[:60].replace(labels.TIGHT, " ")
        raise LayoutError(
            f"{said!r} does not fit its place on stock {room.stock.name}: say it shorter, or use a larger label"
        )
    return _set(lines, block, room)


def _entries(said: str | tuple[str, ...]) -> tuple[str, ...]:
    return ((said,) if said else ()) if isinstance(said, str) else said


def _set(lines: tuple[Line, ...], block: Block, room: _Room) -> list[Text]:
    spare = room.height - height_of(len(lines), lines[0][2])
    y = room.top + {"top": 0, "middle": spare / 2, "bottom": spare}[block.stand] + lines[0][2] * ABOVE
    placed = []
    for text, weight, size in lines:
        free = room.width - fonts.width(text, weight, size)
        x = room.left + {"left": 0, "centre": free / 2, "right": free}[block.align]
        placed.append(Text(int(x), round(y), text.replace(labels.TIGHT, " "), weight, size))
        y += size * LINE
    return placed


def _grid(form: OutageForm, grid: Grid, room: _Room, read_at_mm: float) -> list[tuple[Placed, list[Text]]]:
    """The codes of a form, row by row, each with what it stands for above it and its letters below."""
    if len(form.codes_) > grid.columns * grid.rows:
        raise LayoutError(f"the form has room for {grid.columns * grid.rows} codes, not {len(form.codes_)}")
    wide, high = room.width // grid.columns, room.height // grid.rows
    head = room.stock.dots(3.2)
    found = []
    for number, (said, code) in enumerate(form.codes_):
        row, column = divmod(number, grid.columns)
        left, top = room.left + column * wide, room.top + row * high
        cell = _Room(left, top + round(head * LINE), left + wide, top + high, room.stock)
        made = _symbol({"code": code}, Place("QR", (0, 0, 0, 0), most_mm=0.6), cell, read_at_mm)
        if made is not None:
            name = Text(
                left + int((wide - fonts.width(said, "bold", head)) / 2), top + round(head * ABOVE), said, "bold", head
            )
            found.append((made[0], [name, *made[1]]))
    return found


def _table(table: Table, room: _Room) -> tuple[list[tuple[int, int, int, int]], list[Text]]:
    """Ruled lines to write on, and their heads."""
    thin, size = max(1, room.stock.dots(0.15)), room.stock.dots(3.0)
    head = round(size * 1.5)
    edges = [room.left]
    for _, share in table.heads:
        edges.append(min(room.right, edges[-1] + round(room.width * share)))
    texts = [
        Text(left + thin * 3, room.top + round(size * ABOVE), said, "bold", size)
        for (said, _), (left, _) in zip(table.heads, pairwise(edges), strict=True)
    ]
    step = (room.height - head - thin) / table.rows
    rules = [
        (room.left, room.top + head + round(row * step), edges[-1] - room.left, thin) for row in range(table.rows + 1)
    ]
    posts = [(x - (thin if x == edges[-1] else 0), room.top + head, thin, round(table.rows * step)) for x in edges]
    return rules + posts, texts
