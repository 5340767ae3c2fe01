"""Labels drawn for a printer: as a PDF and as pages dot by dot, and the same once more, marked as a copy."""

import io
from collections.abc import Sequence
from dataclasses import dataclass, replace

from PIL import Image

from label_templates import raster, sheet
from label_templates.designs import Face, Label
from label_templates.printer.document import Document, Paper
from label_templates.stocks import Stock

COPY = "COPY"


@dataclass(frozen=True, slots=True)
class Copy:
    """A label that says it is a copy, before its title."""

    label: Label

    def face(self) -> Face:
        face = self.label.face()
        return replace(face, title=f"{COPY} {face.title}")


def paper(stock: Stock) -> Paper:
    return Paper(stock.name, round(stock.page_mm[0] * 100), round(stock.page_mm[1] * 100), stock.dots_per_mm * 25.4)


def document(labels: Sequence[Label], stock: Stock, *, start: int = 0) -> Document:
    """The labels on pages, from place `start` of the first on; every symbol is read back from its page.

    Raises ProofError when one does not, and what `lay_out` raises.
    """
    copies: list[Label] = [Copy(label) for label in labels]  # type: ignore[misc]
    return replace(_drawn(labels, stock, start), copy=_drawn(copies, stock, start))


def _drawn(labels: Sequence[Label], stock: Stock, start: int) -> Document:
    pages = tuple(_png(page) for page in raster.pages(labels, stock, start=start))
    return Document(sheet.pdf(labels, stock, start=start, proved=False), pages)


def _png(page: Image.Image) -> bytes:
    file = io.BytesIO()
    page.save(file, "PNG")
    return file.getvalue()
