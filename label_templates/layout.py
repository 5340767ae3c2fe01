"""Layout: a label's face put into whole printer dots, once; picture and PDF are both drawn from it."""

from dataclasses import dataclass
from functools import lru_cache

from label_templates import fonts
from label_templates.designs import Face, Label, Mark
from label_templates.stocks import Stock
from label_templates.symbols import Symbol, code128, qr

PAD = 16
"""Dots kept free at every edge: two millimetres, for cutters and rollers."""
BAND = 20
SHORTENED = "…"
_TITLES = (44, 40, 36, 32, 28, 24)
_TEXTS = (24, 22, 20, 18)
_CODE_SIZES = (22, 20, 18, 16, 15, 14)
_QR_MODULES = (7, 6, 5, 4)
_BAR_MODULES = (3, 2)
_BAR_HEIGHT = 56
_LONGEST = 400


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


@dataclass(frozen=True, slots=True)
class Drawing:
    """Everything on one label, in dots from its top left corner."""

    width: int
    height: int
    boxes: tuple[tuple[int, int, int, int], ...]
    symbols: tuple[Placed, ...]
    texts: tuple[Text, ...]


def lay_out(label: Label, stock: Stock) -> Drawing:
    """`label` on `stock`. Raises LayoutError, GlyphError, DesignError or CodeError when it cannot be drawn right."""
    face = label.face()
    for text in (face.title, face.foot, *(line for line, _ in face.lines)):
        fonts.check(text, "bold")
    left = PAD + (BAND + 8 if face.mark else 0)
    bottom = stock.height - PAD
    bars = _bars(face, left, stock.width - 8, bottom) if face.bars else None
    if bars:
        bottom = bars.y - 6
    symbol, code_text = _qr(face, stock, bottom if bars else stock.height)
    symbols = [symbol, bars] if bars else [symbol]
    column = _Column(face, left, symbol.x - symbol.symbol.quiet * symbol.module - 4, bottom)
    texts = [code_text, *_words(column)]
    return Drawing(stock.width, stock.height, _band(face.mark, stock.height), tuple(symbols), tuple(texts))


def _qr(face: Face, stock: Stock, below: int) -> tuple[Placed, Text]:
    """The QR code at the right, as large as the label lets it be, and its code in letters below it."""
    symbol, said = qr(face.code, level=face.level), face.under if face.under is not None else face.code
    across = symbol.width + 2 * symbol.quiet
    share = 0.36 if face.mark or face.bars else 0.44 if face.under is None else 0.5
    module = next((m for m in _QR_MODULES if across * m <= min(below - 34, stock.width * share)), None)
    if module is None:
        raise LayoutError(f"stock {stock.name} is too small for the code {said}: use a larger label")
    side = across * module
    x = stock.width - side - 8
    top = max(2, (below - side - 26) // 2)
    size = next((s for s in _CODE_SIZES if fonts.width(said, "mono", s) <= side), _CODE_SIZES[-1])
    wide = fonts.width(said, "mono", size)
    quiet = symbol.quiet * module
    centred = x + int((side - wide) / 2)
    return (
        Placed(x + quiet, top + quiet, symbol, module, module),
        Text(max(0, centred), top + side + size - 2, said, "mono", size),
    )


def _bars(face: Face, left: int, right: int, bottom: int) -> Placed | None:
    """A Code 128 along the bottom, where a whole-dot module of 0.25 mm or more leaves it room."""
    symbol = code128(face.code)
    across = symbol.width + 2 * symbol.quiet
    module = next((m for m in _BAR_MODULES if across * m <= right - left), None)
    if module is None:
        return None
    start = left + (right - left - across * module) // 2
    return Placed(start + symbol.quiet * module, bottom - _BAR_HEIGHT, symbol, module, _BAR_HEIGHT)


@dataclass(frozen=True, slots=True)
class _Column:
    """The column of words at the left: from `left` to `right`, down to `bottom`, in dots."""

    face: Face
    left: int
    right: int
    bottom: int

    @property
    def room(self) -> int:
        return self.right - self.left


@dataclass(frozen=True, slots=True)
class _Type:
    """A weight and size to set a line in, and whether it may be shortened."""

    weight: str
    size: int
    shorten: bool = False

    def fits(self, text: str, room: int) -> bool:
        return fonts.width(text, self.weight, self.size) <= room


def _words(column: _Column) -> list[Text]:
    """Title, lines and foot, sizes falling until all of it fits; only then is anything shortened."""
    for title_size in _TITLES:
        for text_size in _TEXTS:
            if text_size <= title_size * 0.7 and (found := _set(column, title_size, text_size, shorten=False)):
                return found
    found = _set(column, _TITLES[-1], _TEXTS[-1], shorten=True)
    if found is None:
        raise LayoutError(f"the words of {column.face.code} do not fit this label: fewer lines, or a larger label")
    return found


def _set(column: _Column, title_size: int, text_size: int, *, shorten: bool) -> list[Text] | None:
    face = column.face
    rows = [(face.title, _Type("bold", title_size, shorten), 2)]
    rows += [
        (text, _Type("bold" if bold else "regular", text_size, shorten), 2 if bold else 1) for text, bold in face.lines
    ]
    y, placed = PAD - 4, []
    for index, (text, kind, most) in enumerate(rows):
        lines = _wrap(text, kind, column.room, most)
        if lines is None:
            return None
        y += 8 if index == 1 else 0
        for line in lines:
            y += round(kind.size * 1.18)
            placed.append(Text(column.left, y, line, kind.weight, kind.size))
    foot_kind = _Type("bold", min(text_size + 2, title_size), shorten)
    foot = _wrap(face.foot, foot_kind, column.room, 1) if face.foot else []
    if foot is None:
        return None
    ends = column.bottom - (round(foot_kind.size * 1.3) if foot else 0)
    last = [Text(column.left, column.bottom - 4, line, "bold", foot_kind.size) for line in foot]
    if y <= ends:
        return placed + last
    return _fewer(placed, ends, last) if shorten else None


def _fewer(placed: list[Text], ends: int, last: list[Text]) -> list[Text] | None:
    """As many lines as fit, the last of them ended with the sign that something was left out."""
    kept = [text for text in placed if text.y <= ends]
    if len(kept) < 2:
        return None
    end = kept[-1]
    kept[-1] = Text(end.x, end.y, end.text[:-2].rstrip() + SHORTENED, end.weight, end.size)
    return kept + last


def _wrap(text: str, kind: _Type, room: int, most: int) -> list[str] | None:
    """`text` in at most `most` lines of `room` dots; shortened by leaving out its end, marked with an ellipsis."""
    if len(text) > _LONGEST and not kind.shorten:
        return None
    lines, words = [""], text[:_LONGEST].split()
    for index, word in enumerate(words):
        grown = f"{lines[-1]} {word}".strip()
        if kind.fits(grown, room):
            lines[-1] = grown
        elif len(lines) < most and lines[-1] and (kind.fits(word, room) or kind.shorten):
            lines.append(word)
        elif not kind.shorten:
            return None
        else:
            lines[-1] = f"{lines[-1]} {' '.join(words[index:])}".strip()
            break
    return [_shortened(line, kind, room) for line in lines]


def _shortened(line: str, kind: _Type, room: int) -> str:
    if kind.fits(line, room):
        return line
    low, high = 0, len(line)
    while low < high:
        middle = (low + high + 1) // 2
        fits = kind.fits(line[:middle].rstrip() + SHORTENED, room)
        low, high = (middle, high) if fits else (low, middle - 1)
    return line[:low].rstrip() + SHORTENED


@lru_cache(maxsize=64)
def _band(mark: Mark | None, height: int) -> tuple[tuple[int, int, int, int], ...]:
    """The mark's pattern along the short edge, as boxes (x, y, width, height)."""
    if mark is None:
        return ()
    x, top, bottom = PAD // 2, PAD // 2, height - PAD // 2
    tall = bottom - top
    match mark.pattern:
        case "solid":
            return ((x, top, BAND, tall),)
        case "two bars":
            return ((x, top, 7, tall), (x + BAND - 7, top, 7, tall))
        case "dots":
            return tuple((x + 4, y, 12, 12) for y in range(top, bottom - 12, 24))
        case "checks":
            return tuple((x + 10 * (i % 2), y, 10, 10) for i, y in enumerate(range(top, bottom - 10, 10)))
        case "diagonals":
            return tuple((x + (y // 2) % BAND, y, 6, 2) for y in range(top, bottom - 2, 2))
        case _:
            up = (0, 2, 5, 9, 12, 14, 14, 12, 9, 5, 2, 0)
            return tuple((x + up[(y // 4) % len(up)], y, 6, 4) for y in range(top, bottom - 4, 4))
