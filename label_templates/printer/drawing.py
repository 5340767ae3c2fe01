"""Labels drawn for a printer: as a PDF and as pages dot by dot, and the same once more, marked as a copy."""

from collections.abc import Sequence
from dataclasses import replace

from label_templates import raster, sheet
from label_templates.labels import Label
from label_templates.layout import lay_out
from label_templates.printer.document import Document, Paper
from label_templates.proof import prove
from label_templates.stocks import Stock


def paper(stock: Stock) -> Paper:
    """A stock as a printer is told of it."""
    return Paper(stock.name, round(stock.page_mm[0] * 100), round(stock.page_mm[1] * 100), stock.resolution_dpi)


def document(labels: Sequence[Label], stock: Stock, *, start: int = 0, design: str | None = None) -> Document:
    """The labels on pages, from place `start` of the first on; every symbol is read back from its page.

    Raises ProofError when one does not, and what `lay_out` raises.
    """
    copies = [replace(label, copy=max(label.copy, 1) + 1) for label in labels]
    return replace(_drawn(labels, stock, start, design), copy=_drawn(copies, stock, start, design))


def _drawn(labels: Sequence[Label], stock: Stock, start: int, design: str | None) -> Document:
    pages = []
    for number, page in enumerate(raster.pages(labels, stock, start, design)):
        first = max(number * stock.each_page, start)
        for index, label in enumerate(labels[first - start : (number + 1) * stock.each_page - start], first):
            left, top = stock.place(index % stock.each_page)
            box = (left, top, left + stock.width, top + stock.height)
            prove(page.crop(box), lay_out(label, stock, design))
        pages.append(raster.png(page, stock))
    return Document(sheet.pdf(labels, stock, start=start, design=design, proved=False), tuple(pages))
