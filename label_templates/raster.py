"""A label as a one-bit picture, dot for dot what a printer lays down."""

import io
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from label_templates import fonts
from label_templates.labels import Label
from label_templates.layout import Drawing, Face, Placed, lay_out
from label_templates.proof import prove
from label_templates.stocks import Stock
from label_templates.symbols import runs
from label_templates.whole import write_whole

Rectangle = tuple[int, int, int, int]


@lru_cache(maxsize=256)
def ink(placed: Placed) -> tuple[Rectangle, ...]:
    """The black rectangles (left, top, width, height, dots) of a symbol, made thinner as its printer needs."""
    module, tall, less = placed.module, placed.tall, placed.thinner
    if less and placed.symbol.symbology == "QR":
        return _eroded(placed)
    return tuple(
        (placed.x + column * module + less // 2, placed.y + row * module, length * module - less, tall)
        for column, row, length in runs(placed.symbol)
    )


def _eroded(placed: Placed) -> tuple[Rectangle, ...]:
    """The black of a QR code, less the dots a printer adds to it across and down."""
    less, before = placed.thinner, placed.thinner // 2
    dots = np.kron(np.array(placed.symbol.modules), np.ones((placed.module, placed.module), bool))
    around = np.pad(dots, (before, less - before))
    windows = np.lib.stride_tricks.sliding_window_view(around, (less + 1, less + 1))
    return _rectangles(np.all(windows, axis=(2, 3)), placed.x, placed.y)


def _rectangles(dots: NDArray[np.bool_], x: int, y: int) -> tuple[Rectangle, ...]:
    """Rows of black dots as rectangles; rows that are alike are one."""
    found: list[Rectangle] = []
    row = 0
    while row < len(dots):
        end = row + 1
        while end < len(dots) and np.array_equal(dots[end], dots[row]):
            end += 1
        edges = np.flatnonzero(np.diff(np.concatenate(([False], dots[row], [False])).astype(np.int8)))
        found += [(x + int(a), y + row, int(b - a), end - row) for a, b in zip(edges[::2], edges[1::2], strict=True)]
        row = end
    return tuple(found)


def draw(drawing: Drawing) -> Image.Image:
    """The picture of a drawing: mode `1`, white 1, one pixel a dot."""
    image = Image.new("1", (drawing.width, drawing.height), 1)
    for face in drawing.faces:
        picture = _drawn(face)
        if face.upside_down:
            picture = picture.transpose(Image.Transpose.ROTATE_180)
        image.paste(picture, (face.x, face.y))
    return image


def _drawn(face: Face) -> Image.Image:
    image = Image.new("1", (face.width, face.height), 1)
    pen = ImageDraw.Draw(image)
    for x, y, wide, tall in (*face.boxes, *(one for placed in face.symbols for one in ink(placed))):
        pen.rectangle((x, y, x + wide - 1, y + tall - 1), fill=0)
    for text in face.texts:
        letters, left, above = fonts.letters(text.text, text.weight, text.size)
        image.paste(0, (text.x + left, text.y + above), letters)
    return image


def picture(label: Label, stock: Stock, design: str | None = None) -> Image.Image:
    """The picture of one label on that stock, mode `1`."""
    return draw(lay_out(label, stock, design))


def pages(labels: Sequence[Label], stock: Stock, start: int = 0, design: str | None = None) -> Iterator[Image.Image]:
    """Whole pages of labels, mode `1`, from place `start` of the first one on."""
    size = (stock.dots(stock.page_mm[0]), stock.dots(stock.page_mm[1]))
    image = Image.new("1", size, 1)
    for index, label in enumerate(labels, start):
        if index > start and index % stock.each_page == 0:
            yield image
            image = Image.new("1", size, 1)
        image.paste(picture(label, stock, design), stock.place(index % stock.each_page))
    yield image


def png(image: Image.Image, stock: Stock) -> bytes:
    """A picture as a PNG that knows how large it is on paper."""
    file = io.BytesIO()
    image.save(file, "PNG", dpi=(stock.resolution_dpi, stock.resolution_dpi))
    return file.getvalue()


def write_png(label: Label, stock: Stock, path: Path, design: str | None = None) -> None:
    """Write the label's picture to `path`, once every symbol on it was read back.

    Raises ProofError when one was not, OSError when the file cannot be written; an older file then stays as it was.
    """
    drawing = lay_out(label, stock, design)
    image = draw(drawing)
    prove(image, drawing)
    write_whole(path, png(image, stock))
