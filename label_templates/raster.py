"""A label as a one-bit picture, dot for dot what a printer lays down."""

import io
from collections.abc import Iterable, Iterator
from itertools import groupby
from pathlib import Path

from PIL import Image, ImageDraw

from label_templates import fonts
from label_templates.designs import Label
from label_templates.layout import Drawing, lay_out
from label_templates.proof import prove
from label_templates.stocks import Stock
from label_templates.symbols import runs
from label_templates.whole import write_whole


def draw(drawing: Drawing) -> Image.Image:
    """The picture of a drawing: mode `1`, white 1, one pixel a dot."""
    image = Image.new("1", (drawing.width, drawing.height), 1)
    pen = ImageDraw.Draw(image)
    pen.fontmode = "1"
    for x, y, wide, tall in drawing.boxes:
        pen.rectangle((x, y, x + wide - 1, y + tall - 1), fill=0)
    for placed in drawing.symbols:
        for column, row, length in runs(placed.symbol):
            left, top = placed.x + column * placed.module, placed.y + row * placed.module
            pen.rectangle((left, top, left + length * placed.module - 1, top + placed.tall - 1), fill=0)
    for text in drawing.texts:
        pen.text((text.x, text.y), text.text, font=fonts.at_size(text.weight, text.size), fill=0, anchor="ls")
    return image


def picture(label: Label, stock: Stock) -> Image.Image:
    """The picture of one label on that stock, mode `1`."""
    return draw(lay_out(label, stock))


def pages(labels: Iterable[Label], stock: Stock, *, start: int = 0) -> Iterator[Image.Image]:
    """Whole pages, mode `1` at the stock's resolution, with the labels from place `start` of the first page on.

    Every symbol is read back from the page itself. Raises what `lay_out` and `prove` raise.
    """
    size = (stock.dots(stock.page_mm[0]), stock.dots(stock.page_mm[1]))
    for _, those in groupby(enumerate(labels, start), key=lambda one: one[0] // stock.each_page):
        page, proofs = Image.new("1", size, 1), []
        for index, label in those:
            drawing = lay_out(label, stock)
            left, top = stock.place(index % stock.each_page)
            page.paste(draw(drawing), (left, top))
            texts = [placed.symbol.text for placed in drawing.symbols]
            proofs.append(((left, top, left + drawing.width, top + drawing.height), texts))
        for box, texts in proofs:
            prove(page.crop(box), texts)
        yield page


def write_png(label: Label, stock: Stock, path: Path) -> None:
    """Write the label's picture to `path`, once every symbol on it was read back.

    Raises ProofError when one was not, OSError when the file cannot be written; an older file then stays as it was.
    """
    drawing = lay_out(label, stock)
    image = draw(drawing)
    prove(image, [placed.symbol.text for placed in drawing.symbols])
    dpi = stock.dots_per_mm * 25.4
    file = io.BytesIO()
    image.save(file, "PNG", dpi=(dpi, dpi))
    write_whole(path, file.getvalue())
