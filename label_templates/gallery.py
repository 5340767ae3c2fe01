"""The gallery: every design on every stock at every resolution, as a printer lays it down, and a contact sheet."""

import io
import json
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from PIL import Image, ImageDraw

from label_templates import designs, fonts, stocks
from label_templates.designs import Design
from label_templates.layout import Drawing, lay_out, why_not
from label_templates.proof import prove
from label_templates.raster import draw, png
from label_templates.samples import SAMPLES
from label_templates.stocks import RESOLUTIONS, Part, Stock
from label_templates.whole import write_whole

PAPER, SHEET, INK, QUIET, FOLD = (246, 244, 238), (255, 253, 248), (27, 36, 48), (98, 104, 112), (170, 168, 160)
_PER_MM = 6
"""Pixels a millimetre on the contact sheet."""
_COLUMNS = ("tag-50x60", "roll-50x25", "a4-21", "roll-62x40", "pack-two-part-100x40")
_PAGES = ("a4-page", "letter-page")
_PAGE_SHARE = 0.42
"""Pages are shown smaller than they are."""
_SAID = "Tarn Bridge Small Animal Practice, an invented one. One scale; pages are smaller."
_LEFT_MM, _HEAD_MM, _GAP_MM, _WORDS_MM = 14, 34, 9, 52


@dataclass(frozen=True, slots=True)
class Shown:
    """A combination that is printed, under its name in the gallery."""

    design: Design
    stock: Stock

    @property
    def name(self) -> str:
        return f"{self.design.name}--{self.stock.name}--{self.stock.resolution_dpi:g}"

    def drawing(self) -> Drawing:
        return lay_out(SAMPLES[self.design.kind], self.stock, self.design.name)


def combinations() -> tuple[list[Shown], list[dict[str, str]]]:
    """Every design on every stock at every resolution; and those that do not go together, with the reason."""
    shown, refused = [], []
    for name in designs.names():
        for stock_name in stocks.names():
            for dpi in RESOLUTIONS:
                design, stock = designs.design(name), stocks.stock(stock_name, dpi)
                if why := why_not(design, stock):
                    refused.append({"design": name, "stock": stock_name, "resolution_dpi": f"{dpi:g}", "why": why})
                else:
                    shown.append(Shown(design, stock))
    return shown, refused


def write(out: Path, progress: Callable[[int, int], None] | None = None) -> tuple[int, list[dict[str, str]]]:
    """Write a PNG and a JSON for each combination into a folder, with a contact sheet and `refused.json`.

    Every symbol is read back first. Returns how many combinations there are, and those refused, with the reason.
    """
    out.mkdir(parents=True, exist_ok=True)
    shown, refused = combinations()
    for number, one in enumerate(shown, 1):
        drawing = one.drawing()
        image = draw(drawing)
        prove(image, drawing)
        write_whole(out / f"{one.name}.png", png(image, one.stock))
        write_whole(out / f"{one.name}.json", (json.dumps(_told(one, drawing), indent=1) + "\n").encode())
        if progress:
            progress(number, len(shown))
    write_whole(out / "refused.json", (json.dumps(refused, indent=1) + "\n").encode())
    sheet = contact_sheet()
    write_whole(out / "contact-sheet.png", _as_png(sheet))
    return len(shown), refused


def _told(one: Shown, drawing: Drawing) -> dict[str, object]:
    """What a picture carries: its codes and symbologies, with each symbol's place in dots."""
    symbols = [
        {
            "text": placed.symbol.text, "symbology": placed.symbol.symbology, "level": placed.symbol.level,
            "module_dots": placed.module, "module_mm": round(placed.module / one.stock.dots_per_mm, 4),
            "quiet_modules": placed.symbol.quiet,
        }
        for placed in drawing.symbols
    ]  # fmt: skip
    return {
        "design": one.design.name, "stock": one.stock.name, "resolution_dpi": one.stock.resolution_dpi,
        "label_mm": one.stock.label_mm, "codes": list(dict.fromkeys(placed.symbol.text for placed in drawing.symbols)),
        "symbols": symbols, "texts": [text.text for text in drawing.texts],
    }  # fmt: skip


def _as_png(image: Image.Image) -> bytes:
    file = io.BytesIO()
    image.save(file, "PNG", optimize=True)
    return file.getvalue()


def contact_sheet() -> Image.Image:
    """Each design on the stocks it is likely to be printed on, in one scale: a row a design, a column a stock."""
    lefts = [float(_LEFT_MM + _WORDS_MM)]
    for name in _COLUMNS:
        lefts.append(lefts[-1] + stocks.stock(name).label_mm[0] + _GAP_MM)
    rows = [(design, _row(design, lefts)) for design in map(designs.design, designs.names())]
    height = _HEAD_MM + sum(max(tall for *_, tall in row) + _GAP_MM + 4 for _, row in rows) + _LEFT_MM
    image = Image.new("RGB", (round((lefts[-1] + _LEFT_MM - _GAP_MM) * _PER_MM), round(height * _PER_MM)), PAPER)
    _say(image, (_LEFT_MM, 17), "Labels", "bold", 10)
    _say(
        image,
        (lefts[0], 17),
        _SAID,
        "regular",
        3.6,
        QUIET,
    )
    for left, name in zip(lefts, _COLUMNS, strict=False):
        _say(image, (left, 27), name, "mono", 3.2, QUIET)
    y = float(_HEAD_MM)
    for design, row in rows:
        _say(image, (_LEFT_MM, y + 4.4), design.name, "bold", 4.6)
        for number, line in enumerate(textwrap.wrap(design.says, 26)):
            _say(image, (_LEFT_MM, y + 9.4 + 4 * number), line, "regular", 2.9, QUIET)
        for left, picture, _ in row:
            image.paste(picture, (round(left * _PER_MM), round(y * _PER_MM)))
        y += max(tall for *_, tall in row) + _GAP_MM + 4
    return image


def _row(design: Design, lefts: list[float]) -> list[tuple[float, Image.Image, float]]:
    """The pictures of a design: where each begins and how tall it is, in millimetres."""
    found = []
    for left, name in zip(lefts, _COLUMNS, strict=False):
        stock = stocks.stock(name, 600.0)
        if why_not(design, stock) is None:
            found.append((left, _shown(Shown(design, stock), 1.0), stock.label_mm[1]))
    if found:
        return found
    left = lefts[0]
    for name in _PAGES:
        stock = stocks.stock(name, 300.0)
        found.append((left, _shown(Shown(design, stock), _PAGE_SHARE), stock.label_mm[1] * _PAGE_SHARE))
        left += stock.label_mm[0] * _PAGE_SHARE + _GAP_MM
    return found


def _say(
    image: Image.Image, at: tuple[float, float], text: str, weight: str, size_mm: float, ink: tuple[int, int, int] = INK
) -> None:
    place = (round(at[0] * _PER_MM), round(at[1] * _PER_MM))
    ImageDraw.Draw(image).text(place, text, font=fonts.at_size(weight, round(size_mm * _PER_MM)), fill=ink, anchor="ls")


def _shown(one: Shown, share: float) -> Image.Image:
    """A label as it looks on its stock: paper white, its corners cut; a tag with its fold."""
    wide, high = (round(side * share * _PER_MM) for side in one.stock.label_mm)
    ink = draw(one.drawing()).convert("L").resize((wide, high), Image.Resampling.LANCZOS)
    label = Image.composite(Image.new("RGB", ink.size, SHEET), Image.new("RGB", ink.size, INK), ink)
    mask = Image.new("L", (wide * 3, high * 3), 0)
    corner = round(one.stock.corner_mm * share * _PER_MM) * 3
    ImageDraw.Draw(mask).rounded_rectangle((0, 0, wide * 3 - 1, high * 3 - 1), corner, fill=255)
    shown = Image.composite(label, Image.new("RGB", ink.size, PAPER), mask.resize(ink.size, Image.Resampling.LANCZOS))
    for before, after in pairwise(sorted(one.stock.parts, key=lambda part: part.box_mm[1::-1])):
        _between(ImageDraw.Draw(shown), before, after, (wide, high))
    return shown


def _between(pen: ImageDraw.ImageDraw, before: Part, after: Part, size: tuple[int, int]) -> None:
    """A dashed line in the middle between two parts: the fold, or where one is peeled off."""
    across = after.box_mm[1] < before.box_mm[3]
    ends = (before.box_mm[2], after.box_mm[0]) if across else (before.box_mm[3], after.box_mm[1])
    middle = round(sum(ends) / 2 * _PER_MM)
    for start in range(0, size[1] if across else size[0], 12):
        line = (middle, start, middle, start + 5) if across else (start, middle, start + 5, middle)
        pen.line(line, fill=FOLD, width=1)
