"""Labels on pages, as PDF: every module on the printer's dot grid, every code as text beside its symbol."""

import io
from collections.abc import Callable, Sequence
from pathlib import Path

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from label_templates import fonts
from label_templates.labels import Label
from label_templates.layout import Face, lay_out
from label_templates.proof import prove
from label_templates.raster import draw, ink
from label_templates.stocks import Stock
from label_templates.whole import write_whole

POINTS_PER_MM = 72 / 25.4
rl_config.useA85 = 0  # streams as bytes: writing them as letters takes a tenth of a sheet's time
Progress = Callable[[int, int], None]


def pdf(
    labels: Sequence[Label], stock: Stock, *, start: int = 0, design: str | None = None, proved: bool = True,
    progress: Progress | None = None,
) -> bytes:  # fmt: skip
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
        drawing = lay_out(label, stock, design)
        if proved:
            prove(draw(drawing), drawing)
        if index > start and index % stock.each_page == 0:
            canvas.showPage()
        left, top = stock.place(index % stock.each_page)
        foot = stock.dots(stock.page_mm[1]) - top
        canvas.addLiteral(f"q {point:.6f} 0 0 {point:.6f} {left * point:.4f} {foot * point:.4f} cm")
        for face in drawing.faces:
            _put(canvas, face)
        canvas.addLiteral("Q")
        if progress:
            progress(index - start + 1, len(labels))
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def _put(canvas: Canvas, face: Face) -> None:
    """Draw in dots from the label's top left corner; a PDF's y grows upwards."""
    turned = (-1, face.x + face.width, -face.y - face.height) if face.upside_down else (1, face.x, -face.y)
    canvas.addLiteral(f"q {turned[0]} 0 0 {turned[0]} {turned[1]} {turned[2]} cm")
    black = (*face.boxes, *(one for placed in face.symbols for one in ink(placed)))
    if black:  # whole dots as they are: reportlab's own rectangles take ten times as long to write
        canvas.addLiteral(" ".join([f"{x} {-y - tall} {wide} {tall} re" for x, y, wide, tall in black]) + " f")
    words, set_in = canvas.beginText(), ("", 0)
    for text in face.texts:
        if set_in != (text.weight, text.size):
            set_in = (text.weight, text.size)
            words.setFont(f"foldmark-{text.weight}", text.size)
        words.setTextOrigin(text.x, -text.y)
        words.textOut(text.text)
    canvas.drawText(words)
    canvas.addLiteral("Q")


def write_pdf(
    labels: Sequence[Label], stock: Stock, path: Path, *, start: int = 0, design: str | None = None,
    progress: Progress | None = None,
) -> None:  # fmt: skip
    """Write the labels to `path`, whole or not at all. Raises what `pdf` raises, and OSError."""
    write_whole(path, pdf(labels, stock, start=start, design=design, progress=progress))
