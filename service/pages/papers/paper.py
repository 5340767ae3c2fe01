"""The look of what is printed on A4: one family of type, few sizes, thin lines."""

import io
from collections.abc import Callable, Sequence
from typing import Any

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph, SimpleDocTemplate, Table, TableStyle

from label_templates import fonts

Say = Callable[[str], str]
CAUTION = "Foldmark advises; the practice's own procedures, local codes and the licensed practitioner decide."
MARGIN = 12 * mm
WIDE = A4[0] - 2 * MARGIN
PADDING = 6
"""Points that the library keeps free around what stands on a page."""
INK, SOFT, LINE = colors.HexColor("#1b2430"), colors.HexColor("#5a6573"), colors.HexColor("#b5afa0")

BODY = ParagraphStyle("body", fontName="foldmark-regular", fontSize=9.5, leading=13, textColor=INK)
SMALL = ParagraphStyle("small", parent=BODY, fontSize=8, leading=10)
CODE = ParagraphStyle("code", parent=BODY, fontName="foldmark-mono", fontSize=8.5, leading=11)
FINE_CODE = ParagraphStyle("fine-code", parent=CODE, fontSize=7.5, leading=10)
TITLE = ParagraphStyle("title", parent=BODY, fontName="foldmark-bold", fontSize=17, leading=22)
PART = ParagraphStyle("part", parent=BODY, fontName="foldmark-bold", fontSize=9.5, leading=13, spaceBefore=5)
DECISION = ParagraphStyle("decision", parent=BODY, fontName="foldmark-bold", fontSize=11.5, leading=16, spaceAfter=3)
HEAD = ParagraphStyle("head", parent=BODY, fontName="foldmark-bold", fontSize=8.5, leading=11)


def escaped(text: str) -> str:
    """Text as it stands in a paragraph: nothing in it is markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def ruled(rows: Sequence[Sequence[Any]], widths: Sequence[float], *, head: bool = True, tight: bool = False) -> Table:
    """A table with a thin line under each row; its first row repeats on each page."""
    table = Table([list(row) for row in rows], colWidths=list(widths), repeatRows=1 if head else 0)
    looks: list[Any] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, LINE),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
    ]
    if tight:
        looks += [("TOPPADDING", (0, 0), (-1, -1), 0.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5)]
    if head:
        looks.append(("LINEBELOW", (0, 0), (-1, 0), 1, INK))
    table.setStyle(TableStyle(looks))
    return table


def cells(texts: Sequence[str], style: ParagraphStyle = BODY) -> list[Paragraph]:
    return [Paragraph(escaped(text), style) for text in texts]


def printed(parts: list[Any], *, title: str, foot: str, say: Say, top_mm: float = 14) -> bytes:
    """The parts as an A4 PDF, with `foot` and the page's number at the bottom of each page."""
    file = io.BytesIO()
    side = MARGIN - PADDING
    document = SimpleDocTemplate(
        file, pagesize=A4, leftMargin=side, rightMargin=side, topMargin=top_mm * mm, bottomMargin=16 * mm,
        invariant=1, title=title,
    )  # fmt: skip

    def bottom(canvas: Canvas, _document: Any) -> None:
        canvas.setFont("foldmark-regular", 8)
        canvas.drawString(MARGIN, 8 * mm, foot)
        canvas.drawRightString(A4[0] - MARGIN, 8 * mm, say(f"page {canvas.getPageNumber()}"))

    document.build(parts, onFirstPage=bottom, onLaterPages=bottom)
    return file.getvalue()


for _weight in fonts.FILES:
    fonts.for_pdf(_weight)
