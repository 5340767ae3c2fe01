"""Labels on pages, as PDF: every module on the printer's dot grid, every code as text beside its symbol."""

import io
from collections.abc import Callable, Sequence
from pathlib import Path

from reportlab.pdfgen.canvas import Canvas

from label_templates import fonts
from label_templates.designs import Label
from label_templates.layout import Drawing, lay_out
from label_templates.proof import prove
from label_templates.raster import draw
from label_templates.stocks import Stock
from label_templates.symbols import runs
from label_templates.whole import write_whole

POINTS_PER_MM = 72 / 25.4
Progress = Callable[[int, int], None]


def pdf(
    labels: Sequence[Label], stock: Stock, *, start: int = 0, proved: bool = True, progress: Progress | None = None
) -> bytes:
    """The labels as a PDF, from place `start` of the first page on.

    Every symbol is read back from the same drawing unless `proved` is off. Raises what `lay_out` and `prove` raise.
    """
    point = POINTS_PER_MM / stock.dots_per_mm
    file = io.BytesIO()
    page = (stock.page_mm[0] * POINTS_PER_MM, stock.page_mm[1] * POINTS_PER_MM)
    canvas = Canvas(file, pagesize=page, pageCompression=1, invariant=1)
    for weight in fonts.FILES:
        fonts.for_pdf(weight)
    for index, label in enumerate(labels, start):
        drawing = lay_out(label, stock)
        if proved:
            prove(draw(drawing), [placed.symbol.text for placed in drawing.symbols])
        if index > start and index % stock.each_page == 0:
            canvas.showPage()
        left, top = stock.place(index % stock.each_page)
        canvas.saveState()
        canvas.transform(point, 0, 0, point, left * point, (stock.dots(stock.page_mm[1]) - top) * point)
        _put(canvas, drawing)
        canvas.restoreState()
        if progress:
            progress(index - start + 1, len(labels))
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def _put(canvas: Canvas, drawing: Drawing) -> None:
    """Draw in dots from the label's top left corner; a PDF's y grows upwards."""
    path = canvas.beginPath()
    for x, y, wide, tall in drawing.boxes:
        path.rect(x, -y - tall, wide, tall)
    for placed in drawing.symbols:
        module, tall = placed.module, placed.tall
        for column, row, length in runs(placed.symbol):
            path.rect(placed.x + column * module, -placed.y - row * module - tall, length * module, tall)
    canvas.drawPath(path, stroke=0, fill=1)
    for text in drawing.texts:
        canvas.setFont(f"foldmark-{text.weight}", text.size)
        canvas.drawString(text.x, -text.y, text.text)


def write_pdf(
    labels: Sequence[Label], stock: Stock, path: Path, *, start: int = 0, progress: Progress | None = None
) -> None:
    """Write the labels to `path`, whole or not at all. Raises what `pdf` raises, and OSError."""
    write_whole(path, pdf(labels, stock, start=start, progress=progress))
