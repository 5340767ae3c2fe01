"""Labels drawn into a file: the options every kind of label takes, and a PDF or a PNG."""

import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import click

from label_templates import raster, sheet, stocks
from label_templates.codes import CodeError
from label_templates.fonts import GlyphError
from label_templates.labels import Label, LabelError, Mark
from label_templates.layout import LayoutError
from label_templates.proof import ProofError
from label_templates.stocks import StockError
from service.cli.open import fail

NOTE = "Print at 100 %. Use steam-proof label stock: direct-thermal paper turns black at about 134 °C."
_SHOWN_FROM = 50


def outputs(command: Callable[..., None]) -> Callable[..., None]:
    """The options every kind of label takes."""
    for option in (
        click.option(
            "-o", "--out", required=True, type=click.Path(dir_okay=False, path_type=Path), help="A .pdf or .png file."
        ),
        click.option("--stock", "stock_name", default=None, help=f"One of {', '.join(stocks.names())}."),
        click.option(
            "--start", default=1, type=click.IntRange(1), help="The first free place of a used sheet, from 1."
        ),
        click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON."),
    ):
        command = option(command)
    return command


def write(make: Callable[[], Iterable[Label]], *, out: Path, stock_name: str | None, start: int, as_json: bool) -> None:
    try:
        labels = list(make())
        stock = stocks.stock(stock_name or ("roll-62x40" if len(labels) == 1 else "a4-24"))
        if not labels:
            raise fail("there is nothing to print: name at least one code")
        _draw(labels, stock, out, start)
    except (CodeError, LabelError, GlyphError, LayoutError, ProofError, StockError) as error:
        raise fail(str(error)) from error
    except OSError as error:
        raise fail(f"{out} cannot be written ({error.strerror}): check the folder and the space on the disk") from error
    if as_json:
        click.echo(json.dumps({"out": str(out), "stock": stock.name, "labels": [one.code for one in labels]}))
    else:
        click.echo(f"{out}: {len(labels)} labels on {stock.name}, every symbol read back. {NOTE}")


def _draw(labels: Sequence[Label], stock: stocks.Stock, out: Path, start: int) -> None:
    if out.suffix.lower() == ".png":
        if len(labels) != 1:
            raise fail(f"a PNG holds one label, and {len(labels)} were named: write a .pdf")
        raster.write_png(labels[0], stock, out)
    elif out.suffix.lower() == ".pdf":
        if start > stock.each_page:
            raise fail(f"stock {stock.name} has {stock.each_page} places a page: --start {start} is not one")
        shown = click.progressbar(length=len(labels), label="labels", hidden=len(labels) < _SHOWN_FROM)
        with shown as bar:
            sheet.write_pdf(labels, stock, out, start=start - 1, progress=lambda done, _: bar.update(done - bar.pos))
    else:
        raise fail(f"{out} is neither .pdf nor .png: the ending says which to write")


def mark_from(text: str | None) -> Mark | None:
    if not text:
        return None
    colour, _, pattern = text.partition(",")
    return Mark(colour.strip(), pattern.strip() or "solid")
