"""Labels drawn into a file: the options every kind of label takes, and a PDF or a PNG."""

import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import wraps
from pathlib import Path
from typing import Any

import click

from label_templates import raster, sheet, stocks
from label_templates.codes import CodeError
from label_templates.designs import DesignError, Label, Mark
from label_templates.fonts import GlyphError
from label_templates.layout import LayoutError, lay_out
from label_templates.proof import ProofError
from label_templates.stocks import Stock, StockError
from service.cli.open import fail

NOTE = "Print at 100 %. Use steam-proof label stock: direct-thermal paper turns black at about 134 °C."
WRONG = (CodeError, DesignError, GlyphError, LayoutError, ProofError, StockError)
"""What may be wrong with a label."""
_SHOWN_FROM = 50
ROLL, PAGE = "roll-62x40", "a4-24"


@dataclass(frozen=True, slots=True)
class Output:
    """What is to become of the labels."""

    out: Path | None
    stock_name: str | None
    design: str | None
    start: int
    copies: int
    printer: str | None
    as_json: bool

    def check(self, count: int) -> Stock:
        """The stock for so many labels. Raises fail for what could never be written: before any code is issued."""
        try:
            stock = stocks.stock(self.stock_name or (ROLL if count == 1 else PAGE))
        except StockError as error:
            raise fail(str(error)) from error
        if count < 1:
            raise fail("there is nothing to print: name at least one code")
        if self.printer:
            raise fail(f"printer {self.printer} cannot be reached from here: write a .pdf with -o, and print that")
        if self.out is None:
            raise fail("nothing says where the labels go: name a file with -o")
        if self.out.suffix.lower() not in {".pdf", ".png"}:
            raise fail(f"{self.out} is neither .pdf nor .png: the ending says which to write")
        if self.out.suffix.lower() == ".png" and count != 1:
            raise fail(f"a PNG holds one label, and {count} were named: write a .pdf")
        if self.start > stock.each_page:
            raise fail(f"stock {stock.name} has {stock.each_page} places a page: --start {self.start} is not one")
        return stock

    def fits(self, label: Label, count: int) -> None:
        """Raise what is WRONG with a label, before its code is issued."""
        lay_out(label, self.check(count), **self._chosen)

    def write(self, labels: Sequence[Label]) -> None:
        """Draw the labels, write them, and say so. Raises fail; an older file then stays as it was."""
        stock = self.check(len(labels))
        try:
            self._draw(labels, stock, self.out or Path())
        except WRONG as error:
            raise fail(str(error)) from error
        except OSError as error:
            why = f"{self.out} cannot be written ({error.strerror}): check the folder and the space on the disk"
            raise fail(why) from error
        if self.as_json:
            told = {"out": str(self.out), "stock": stock.name, "labels": [one.face().code for one in labels]}
            click.echo(json.dumps(told | {"copies": [max(1, one.copy) for one in labels]}))
        else:
            click.echo(f"{self.out}: {len(labels)} labels on {stock.name}, every symbol read back. {NOTE}")

    @property
    def _chosen(self) -> dict[str, Any]:
        return {"design": self.design} if self.design else {}

    def _draw(self, labels: Sequence[Label], stock: Stock, out: Path) -> None:
        if out.suffix.lower() == ".png":
            raster.write_png(labels[0], stock, out, **self._chosen)
            return
        shown = click.progressbar(length=len(labels), label="labels", hidden=len(labels) < _SHOWN_FROM, file=sys.stderr)
        with shown as bar:
            sheet.write_pdf(labels, stock, out, start=self.start - 1,
                            progress=lambda done, _: bar.update(done - bar.pos), **self._chosen)  # fmt: skip


def outputs(command: Callable[..., None]) -> Callable[..., None]:
    """The options every kind of label takes, given to `command` as its `output`."""

    @wraps(command)
    def with_output(*told: Any, **options: Any) -> None:
        names = Output.__dataclass_fields__
        output = Output(**{name: options.pop(name) for name in names})
        command(*told, output=output, **options)

    made: Callable[..., None] = with_output
    for option in (
        click.option("-o", "--out", type=click.Path(dir_okay=False, path_type=Path), help="A .pdf or .png file."),
        click.option("--stock", "stock_name", default=None, help=f"One of {', '.join(stocks.names())}."),
        click.option("--design", help="Another design than the usual one for this kind."),
        click.option(
            "--start", default=1, type=click.IntRange(1), help="The first free place of a used sheet, from 1."
        ),
        click.option("--copies", default=1, type=click.IntRange(1, 20), help="How many of each; the further ones are "
                     "marked as copies."),
        click.option("--printer", help="A printer to send them to."),
        click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON."),
    ):  # fmt: skip
        made = option(made)
    return made


def marked(label: Label, copy: int) -> Label:
    """`label`, saying which copy it is from the second on."""
    return replace(label, copy=copy) if copy > 1 else label


def mark_from(text: str | None) -> Mark | None:
    """A mark told as "blue, two bars". Raises DesignError for a pattern nobody knows."""
    if not text:
        return None
    colour, _, pattern = text.partition(",")
    return Mark(colour.strip(), pattern.strip() or "solid")
