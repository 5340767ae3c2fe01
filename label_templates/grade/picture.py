"""The annotated picture: the photograph with each symbol outlined, and beside it what it is worth and what to do."""

from collections.abc import Sequence

from PIL import Image, ImageDraw

from label_templates import fonts
from label_templates.grade.limits import LETTERS
from label_templates.grade.result import Grade, Parameter

PAPER, SHEET, INK, SOFT, LINE = "#f6f4ee", "#fffdf8", "#1b2430", "#5a6573", "#d9d4c7"
ASK, STOP = "#8a5a00", "#a3172b"
_SHARP = 2
"""Everything but the photograph is drawn this much larger and then brought down, for smooth edges."""
_PANEL, _PHOTO, _EDGE, _GAP = 680, 900, 40, 24
_SMALL, _TEXT, _LARGE, _HUGE = 14, 17, 30, 120
_COLUMNS = (0, 232, 370, 460)


def annotated(photo: Image.Image, grades: Sequence[Grade], least: str = "C") -> Image.Image:
    """`photo` (the picture that was graded, mode RGB) with its symbols outlined and numbered, and a panel for each.

    A symbol below the `least` letter is marked as one to act on.
    """
    shown = _outlined(photo, grades)
    panels = [_panel(grade, number, least) for number, grade in enumerate(grades, 1)]
    tall = max(shown.height, sum(panel.height + _GAP for panel in panels) - _GAP) + 2 * _EDGE
    sheet = Image.new("RGB", (shown.width + _PANEL + 2 * _EDGE + _GAP, tall), PAPER)
    sheet.paste(shown, (_EDGE, _EDGE))
    top = _EDGE
    for panel in panels:
        sheet.paste(panel, (_EDGE + shown.width + _GAP, top))
        top += panel.height + _GAP
    return sheet


def _outlined(photo: Image.Image, grades: Sequence[Grade]) -> Image.Image:
    """The part of the photograph about its symbols, each with an outline and its number."""
    points = [point for grade in grades for point in grade.corners]
    left, right, top, low = (pick(p[i] for p in points) for i in (0, 1) for pick in (min, max))
    margin = max(right - left, low - top) * 0.4
    box = (max(0, round(left - margin)), max(0, round(top - margin)), min(photo.width, round(right + margin)),
           min(photo.height, round(low + margin)))  # fmt: skip
    scale = _PHOTO / max(box[2] - box[0], box[3] - box[1])
    size = round((box[2] - box[0]) * scale), round((box[3] - box[1]) * scale)
    kind = Image.Resampling.NEAREST if scale > 1 else Image.Resampling.LANCZOS
    shown = photo.crop(box).resize(size, kind)
    over = shown.resize((size[0] * _SHARP, size[1] * _SHARP))
    pen = ImageDraw.Draw(over)
    for number, grade in enumerate(grades, 1):
        corners = [((x - box[0]) * scale * _SHARP, (y - box[1]) * scale * _SHARP) for x, y in grade.corners]
        for colour, width in ((SHEET, 12), (INK, 6)):
            pen.line([*corners, corners[0], corners[1]], fill=colour, width=width, joint="curve")
        _numbered(pen, corners[0], number)
    return over.reduce(_SHARP)


def _numbered(pen: ImageDraw.ImageDraw, middle: tuple[float, float], number: int) -> None:
    x, y = middle
    pen.ellipse((x - 30, y - 30, x + 30, y + 30), fill=INK, outline=SHEET, width=4)
    pen.text((x, y), str(number), font=fonts.at_size("bold", 34), fill=SHEET, anchor="mm")


class _Pen:
    """Draws on a panel in its own units, down a column."""

    def __init__(self, tall: int) -> None:
        self.image = Image.new("RGB", (_PANEL * _SHARP, tall * _SHARP), SHEET)
        self.draw = ImageDraw.Draw(self.image)

    def text(self, at: tuple[float, float], text: str, weight: str, size: int, colour: str = INK) -> None:
        font = fonts.at_size(weight, size * _SHARP)
        self.draw.text((at[0] * _SHARP, at[1] * _SHARP), text, font=font, fill=colour, anchor="ls")

    def polygon(self, points: Sequence[tuple[float, float]], colour: str) -> None:
        self.draw.polygon([(x * _SHARP, y * _SHARP) for x, y in points], fill=colour)

    def line(self, points: Sequence[tuple[float, float]], colour: str, width: float) -> None:
        self.draw.line([(x * _SHARP, y * _SHARP) for x, y in points], colour, round(width * _SHARP), joint="curve")


def _panel(grade: Grade, number: int, least: str) -> Image.Image:
    advice = [line for one in grade.advice for line in _wrapped(one, _TEXT)]
    notes = [line for note in (grade.edition, *grade.notes) for line in _wrapped(note, _SMALL)]
    table = 208 + 26 * (len(grade.parameters) + 1)
    told = table + (_GAP + 30 + 24 * len(advice) if advice else 0)
    pen = _Pen(told + _GAP + 20 * len(notes) + _GAP)
    _head(pen, grade, number, least)
    for row, cells in enumerate([None, *grade.parameters]):
        _row(pen, 208 + 26 * row, cells)
    if advice:
        pen.text((_GAP, table + _GAP), "What to do", "bold", _TEXT)
    for row, line in enumerate(advice):
        pen.text((_GAP, table + _GAP + 28 + 24 * row), line, "regular", _TEXT)
    for row, line in enumerate(notes):
        pen.text((_GAP, told + _GAP + 20 * row), line, "regular", _SMALL, SOFT)
    return pen.image.reduce(_SHARP)


def _head(pen: _Pen, grade: Grade, number: int, least: str) -> None:
    """The letter, large; the sign beside it says in shape and colour whether something is to be done."""
    low = LETTERS.index(grade.letter) < LETTERS.index(least)
    colour = STOP if low else INK if grade.letter == "A" else ASK
    pen.text((_GAP, 142), grade.letter, "bold", _HUGE, colour)
    pen.text((_GAP + 110, 92), f"{grade.number:.1f} of 4", "bold", _LARGE)
    kind = "QR code" if grade.symbology == "QR" else "Code 128"
    pen.text((_GAP + 110, 122), f"{number}  {kind}", "regular", _TEXT)
    pen.text((_GAP + 110, 146), grade.shown[:32], "mono", _TEXT)
    word = f"below {least}" if low else "nothing to do" if grade.letter == "A" else "could be better"
    wide = fonts.width(word, "bold", _SMALL * _SHARP) / _SHARP
    middle = _PANEL - _GAP - max(wide, 72) / 2
    _sign(pen, (middle, 84), colour, low=low, good=grade.letter == "A")
    pen.text((middle - wide / 2, 142), word, "bold", _SMALL, colour)
    pen.line([(_GAP, 178), (_PANEL - _GAP, 178)], LINE, 1)


def _sign(pen: _Pen, middle: tuple[float, float], colour: str, *, low: bool, good: bool) -> None:
    """An octagon with a cross, a disc with a tick, or a diamond with a mark of exclamation."""
    x, y = middle
    if low:
        near, far = 14, 34
        pen.polygon([(x + a, y + b) for a, b in ((-near, -far), (near, -far), (far, -near), (far, near), (near, far),
                                                 (-near, far), (-far, near), (-far, -near))], colour)  # fmt: skip
        pen.line([(x - 13, y - 13), (x + 13, y + 13)], SHEET, 6)
        pen.line([(x - 13, y + 13), (x + 13, y - 13)], SHEET, 6)
    elif good:
        box = [(x - 32) * _SHARP, (y - 32) * _SHARP, (x + 32) * _SHARP, (y + 32) * _SHARP]
        pen.draw.ellipse(box, fill=colour)
        pen.line([(x - 15, y), (x - 4, y + 12), (x + 16, y - 12)], SHEET, 6)
    else:
        pen.polygon([(x, y - 36), (x + 36, y), (x, y + 36), (x - 36, y)], colour)
        pen.line([(x, y - 17), (x, y + 6)], SHEET, 6)
        pen.line([(x, y + 12), (x, y + 18)], SHEET, 6)


def _row(pen: _Pen, y: float, one: Parameter | None) -> None:
    """A line of the table; what is below A stands in bold behind a small diamond."""
    low = one is not None and one.grade is not None and one.letter != "A"
    cells = ("", "value", "grade", "4.0 from") if one is None else cells_of(one)
    colour = SOFT if one is None else ASK if low else INK
    for x, text in zip(_COLUMNS, cells, strict=True):
        pen.text((_GAP + 22 + x, y), text, "bold" if low else "regular", _SMALL if one is None else _TEXT, colour)
    if low:
        pen.polygon([(_GAP + 8, y - 13), (_GAP + 15, y - 6), (_GAP + 8, y + 1), (_GAP + 1, y - 6)], ASK)


def cells_of(one: Parameter) -> tuple[str, str, str, str]:
    """A parameter's name, value, grade and limit, as they are shown."""
    value = "not judged" if one.value is None else f"{one.value:.2f} {one.unit}".rstrip()
    grade = "" if one.grade is None else f"{one.letter} {one.grade:.1f}"
    return one.name, value, grade, one.limit


def _wrapped(text: str, size: int) -> list[str]:
    lines = [""]
    for word in text.split():
        grown = f"{lines[-1]} {word}".strip()
        if fonts.width(grown, "regular", size) <= _PANEL - 2 * _GAP or not lines[-1]:
            lines[-1] = grown
        else:
            lines.append(word)
    return lines
