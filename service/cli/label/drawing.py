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
from label_templates.fonts import GlyphError
from label_templates.labels import Label, LabelError, Mark
from label_templates.layout import LayoutError, lay_out
from label_templates.printer.drawing import document
from label_templates.printer.queue import PRINTED
from label_templates.proof import ProofError
from label_templates.samples import SAMPLES
from label_templates.stocks import RESOLUTIONS, Stock, StockError
from label_templates.symbols import SymbolError
from service.cli.label.printers import any_stock_option, queue_option, send, stock_at
from service.cli.open import fail

NOTE = "Print at 100 %. Use steam-proof label stock: direct-thermal paper turns black at about 134 °C."
WRONG = (CodeError, LabelError, GlyphError, LayoutError, ProofError, StockError, SymbolError)
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
    resolution: str | None
    thinner: int
    queue_file: Path
    any_stock: bool
    as_json: bool

    def check(self, count: int) -> Stock:
        """The stock for so many labels. Raises fail for what could never be written: before any code is issued."""
        usual = ROLL if count == 1 or self.printer else PAGE
        try:
            dpi = float(self.resolution) if self.resolution else None
            stock = stocks.stock(self.stock_name or usual, dpi, self.thinner)
        except StockError as error:
            raise fail(str(error)) from error
        if count < 1:
            raise fail("there is nothing to print: name at least one code")
        if self.start > stock.each_page:
            raise fail(f"stock {stock.name} has {stock.each_page} places a page: --start {self.start} is not one")
        if self.printer is None:
            self._check_file(count)
            return stock
        if self.out is not None:
            raise fail("labels go to a file or to a printer: leave out -o or --printer")
        return stock if self.resolution else stock_at(self.printer, stock)

    def _check_file(self, count: int) -> None:
        if self.out is None:
            raise fail("nothing says where the labels go: name a file with -o, or a printer with --printer")
        if self.out.suffix.lower() not in {".pdf", ".png"}:
            raise fail(f"{self.out} is neither .pdf nor .png: the ending says which to write")
        if self.out.suffix.lower() == ".png" and count != 1:
            raise fail(f"a PNG holds one label, and {count} were named: write a .pdf")

    def fits(self, label: Label, count: int) -> None:
        """Raise what is WRONG with a label, before its code is issued."""
        lay_out(label, self.check(count), **self._chosen)

    def suits(self, kind: str, count: int) -> None:
        """Raise fail when no label of a kind could be drawn as asked: before any code is issued."""
        try:
            self.fits(SAMPLES[kind], count)
        except WRONG as error:
            raise fail(str(error)) from error

    def write(self, labels: Sequence[Label]) -> None:
        """Draw the labels, write them, and say so. Raises fail; an older file then stays as it was."""
        stock = self.check(len(labels))
        if self.printer:
            self._print(labels, stock, self.printer)
            return
        try:
            self._draw(labels, stock, self.out or Path())
        except WRONG as error:
            raise fail(str(error)) from error
        except OSError as error:
            why = f"{self.out} cannot be written ({error.strerror}): check the folder and the space on the disk"
            raise fail(why) from error
        self._tell(labels, stock, {"out": str(self.out)}, f"{self.out}: {_counted(labels)} on {stock.name}")

    def _tell(self, labels: Sequence[Label], stock: Stock, where: dict[str, Any], said: str) -> None:
        if self.as_json:
            told = where | {"stock": stock.name, "labels": [one.code for one in labels]}
            click.echo(json.dumps(told | {"copies": [max(1, one.copy) for one in labels]}))
        else:
            click.echo(f"{said}, every symbol read back. {NOTE}")

    def _print(self, labels: Sequence[Label], stock: Stock, printer: str) -> None:
        """Print the labels, and say how it goes. Exit status 1 unless the printer said that they were printed."""
        codes = [one.code for one in labels]
        try:
            drawn = document(labels, stock, start=self.start - 1, design=self.design)
        except WRONG as error:
            raise fail(str(error)) from error
        title = codes[0] if len(codes) == 1 else f"{codes[0]} and {len(codes) - 1} more"
        job = send(drawn, stock, printer, title, codes, queue_file=self.queue_file, any_stock=self.any_stock,
                   tell=lambda line: click.echo(line, err=self.as_json))  # fmt: skip
        where = {"printer": job.printer, "job": job.id, "state": job.state}
        self._tell(labels, stock, where, f"{job.state}: {_counted(labels)} on {stock.name}")
        if job.state != PRINTED:
            raise click.exceptions.Exit(1)

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


def _counted(labels: Sequence[Label]) -> str:
    return "1 label" if len(labels) == 1 else f"{len(labels)} labels"


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
        click.option("--printer", help="Print them straight on this printer, such as ipp://192.0.2.7/ipp/print."),
        click.option("--resolution", type=click.Choice([f"{one:g}" for one in RESOLUTIONS]),
                     help="Dots an inch; otherwise the printer's or the stock's own."),
        click.option("--thinner", default=0, type=click.IntRange(0, 3), help="Dots to take off each bar, for a printer "
                     "that makes them fat: see label grade."),
        queue_option,
        any_stock_option,
        click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON."),
    ):  # fmt: skip
        made = option(made)
    return made


def marked(label: Label, copy: int) -> Label:
    """`label`, saying which copy it is from the second on."""
    return replace(label, copy=copy) if copy > 1 else label


def mark_from(text: str | None) -> Mark | None:
    """A mark told as "blue, two bars". Raises LabelError for a pattern nobody knows."""
    if not text:
        return None
    colour, _, pattern = text.partition(",")
    return Mark(colour.strip(), pattern.strip() or "solid")
