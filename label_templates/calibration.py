"""A page that shows whether a printer prints at 100 % and in its place: rulers, and the outline of every label."""

import io

from reportlab.pdfgen.canvas import Canvas

from label_templates import fonts
from label_templates.stocks import Stock

POINTS_PER_MM = 72 / 25.4
_RULER_MM = 100


def page(stock: Stock) -> bytes:
    """The page as a PDF: two rulers of 100 mm where there is room for them, and the labels' outlines."""
    wide, high = stock.page_mm
    file = io.BytesIO()
    canvas = Canvas(file, pagesize=(wide * POINTS_PER_MM, high * POINTS_PER_MM), invariant=1)
    for weight in fonts.FILES:
        fonts.for_pdf(weight)
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    canvas.setLineWidth(0.1)
    for index in range(stock.each_page):
        row, column = divmod(index, stock.columns)
        left = stock.margin_mm[0] + column * stock.pitch_mm[0]
        top = stock.margin_mm[1] + row * stock.pitch_mm[1]
        canvas.roundRect(left, high - top - stock.label_mm[1], *stock.label_mm, stock.corner_mm)
    length = min(_RULER_MM, int(wide - 20) // 10 * 10, int(high - 20) // 10 * 10)
    if length >= 10:
        _ruler(canvas, (wide - length) / 2, high / 2, length)
        canvas.saveState()
        canvas.translate(wide / 2, (high - length) / 2)
        canvas.rotate(90)
        _ruler(canvas, 0, 0, length)
        canvas.restoreState()
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def _ruler(canvas: Canvas, x: float, y: float, length: int) -> None:
    """A ruler of `length` millimetres from (x, y): a stroke a millimetre, its number every ten."""
    canvas.line(x, y, x + length, y)
    for mm in range(length + 1):
        tall = 4.0 if mm % 10 == 0 else 2.8 if mm % 5 == 0 else 1.8
        canvas.line(x + mm, y, x + mm, y + tall)
        if mm % 10 == 0:
            canvas.setFont("foldmark-regular", 2.4)
            canvas.drawCentredString(x + mm, y + tall + 0.6, str(mm))
    canvas.setFont("foldmark-regular", 2.8)
    canvas.drawCentredString(
        x + length / 2, y - 3.4, f"This line is {length} mm long when the page is printed at 100 %."
    )
