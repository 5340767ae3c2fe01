"""What a printer is sent, and how it is asked for: the stock's own dots where it takes them, PDF where it does not."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from label_templates.printer.document import Document, Paper
from label_templates.printer.messages import COLLECTION, INTEGER, KEYWORD, RESOLUTION, Tagged, lone
from label_templates.printer.pwg import TYPES, pwg_raster

PDF, RASTER = "application/pdf", "image/pwg-raster"
_SAME_SIZE: Final = 50
"""Hundredths of a millimetre that two sizes of the same paper may differ by: common practice, no source."""
_NAMED_SIZE = re.compile(r"_(?P<wide>[0-9.]+)x(?P<high>[0-9.]+)(?P<unit>mm|in)$")
"""The end of a self-describing name of paper: PWG 5101.1."""
Attributes = Mapping[str, list[Any]]


class FormatError(ValueError):
    """A printer that cannot print this stock, with what to do."""


class WrongStockError(FormatError):
    """A printer loaded with something else."""


@dataclass(frozen=True, slots=True)
class Form:
    """How a document is sent: its MIME type and, for raster, which kind of it."""

    mime: str
    raster: str | None = None

    def of(self, document: Document, paper: Paper) -> bytes:
        """The bytes to send."""
        return pwg_raster(document.pages, paper, self.raster) if self.raster else document.pdf

    def __str__(self) -> str:
        return f"PWG raster {self.raster}" if self.raster else "PDF"


def choose(printer: Attributes, paper: Paper) -> Form:
    """Raster when the printer takes it at the stock's own resolution, so that every dot is ours; else PDF.

    Raises FormatError when it takes neither.
    """
    takes = printer.get("document-format-supported", [])
    dots = {across for across, along in printer.get("pwg-raster-document-resolution-supported", []) if across == along}
    kinds = printer.get("pwg-raster-document-type-supported", [])
    kind = next((kind for kind in TYPES if kind in kinds), None)
    if RASTER in takes and kind and round(paper.dpi) in dots:
        return Form(RASTER, kind)
    if PDF in takes:
        return Form(PDF)
    if RASTER in takes and kind:
        raise FormatError(
            f"the printer prints {_listed(dots)} dpi, and stock {paper.name} is drawn for {paper.dpi:.4g} dpi: "
            "choose a stock of the printer's resolution"
        )
    raise FormatError("the printer takes neither PDF nor PWG raster: print to it through a CUPS queue")


def _listed(numbers: set[int]) -> str:
    return " or ".join(str(number) for number in sorted(numbers)) or "at no resolution it names, not"


def template(printer: Attributes, paper: Paper, copies: int, *, any_stock: bool = False) -> dict[str, Tagged]:
    """The attributes a job asks for: as large as the stock, at 100 %, at its resolution, so many copies."""
    asked: dict[str, Tagged] = {}
    if printer.get("media-col-supported") and not any_stock:
        size = {"x-dimension": Tagged(INTEGER, paper.width), "y-dimension": Tagged(INTEGER, paper.height)}
        asked["media-col"] = Tagged(COLLECTION, {"media-size": Tagged(COLLECTION, size)})
    dpi = (round(paper.dpi), round(paper.dpi))
    if dpi in printer.get("printer-resolution-supported", []):
        asked["printer-resolution"] = Tagged(RESOLUTION, dpi)
    if "none" in printer.get("print-scaling-supported", []):
        asked["print-scaling"] = Tagged(KEYWORD, "none")
    if copies > 1:
        asked["copies"] = Tagged(INTEGER, copies)
    return asked


def check_loaded(printer: Attributes, paper: Paper) -> None:
    """Raise WrongStockError when the printer knows what is loaded, and this stock is not among it."""
    there = loaded(printer)
    if there and not any(_holds(size, paper) for size in there):
        said = ", ".join(sorted({_size(size) for size in there}))
        raise WrongStockError(
            f"wrong stock: the printer holds {said}, and {paper.name} is {paper.size}: load it, "
            "or overrule with --any-stock"
        )


def check_refused(refused: set[str], paper: Paper, copies: int) -> None:
    """Raise WrongStockError or FormatError when what the printer would leave out is not to be left out."""
    if "media-col" in refused:
        raise WrongStockError(
            f"wrong stock: the printer does not take {paper.size} ({paper.name}): set that size up at the printer, "
            "or overrule with --any-stock"
        )
    if "copies" in refused:
        raise FormatError(f"the printer does not print {copies} copies at once: ask for fewer")


_Span = tuple[int, int]


def loaded(printer: Attributes) -> list[tuple[_Span, _Span]]:
    """The sizes a printer says are loaded, each side's least and most, in hundredths of a mm; else none."""
    sizes = [lone(media, "media-size") for media in printer.get("media-col-ready", []) if isinstance(media, dict)]
    found = [
        (_span(lone(size, "x-dimension")), _span(lone(size, "y-dimension"))) for size in sizes if isinstance(size, dict)
    ]
    if found:
        return found
    named = [_NAMED_SIZE.search(str(name)) for name in printer.get("media-ready", [])]
    return [_named_size(one) for one in named if one] if all(named) else []


def _named_size(name: re.Match[str]) -> tuple[_Span, _Span]:
    unit = 2540 if name["unit"] == "in" else 100
    return _span(round(float(name["wide"]) * unit)), _span(round(float(name["high"]) * unit))


def _span(value: Any) -> _Span:
    return value if isinstance(value, tuple) else (int(value or 0), int(value or 0))


def _holds(size: tuple[_Span, _Span], paper: Paper) -> bool:
    return all(
        least - _SAME_SIZE <= wanted <= most + _SAME_SIZE
        for (least, most), wanted in zip(size, (paper.width, paper.height), strict=True)
    )


def _size(size: tuple[_Span, _Span]) -> str:
    return (
        " × ".join(f"{low / 100:g}" if low == high else f"{low / 100:g} to {high / 100:g}" for low, high in size)
        + " mm"
    )


def sizes(printer: Attributes) -> list[str]:
    """What is loaded, in words."""
    return list(dict.fromkeys(_size(size) for size in loaded(printer)))
