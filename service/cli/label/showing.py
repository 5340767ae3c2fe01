"""What labels there are: the gallery, the stocks, the designs and why one does not fit, the calibration page."""

import json
import sys
from pathlib import Path

import click

from label_templates import calibration, designs, gallery, layout, stocks
from label_templates.designs import DesignError
from label_templates.proof import ProofError
from label_templates.stocks import RESOLUTIONS, StockError
from label_templates.whole import write_whole
from service.cli.open import fail

_JSON = click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")


@click.command("gallery", epilog="\b\nExample:\n  foldmark label gallery --out gallery")
@click.option("--out", required=True, type=click.Path(file_okay=False, path_type=Path), help="A folder.")
@_JSON
def gallery_command(out: Path, *, as_json: bool) -> None:
    """Draw every design on every stock at every resolution, with a contact sheet. Every symbol is read back."""
    shown, _ = gallery.combinations()
    try:
        with click.progressbar(length=len(shown), label="labels", file=sys.stderr, hidden=as_json) as bar:
            count, refused = gallery.write(out, lambda done, _: bar.update(done - bar.pos))
    except ProofError as error:
        raise fail(str(error)) from error
    except OSError as error:
        raise fail(f"{out} cannot be written ({error.strerror}): check the folder and the space on the disk") from error
    if as_json:
        click.echo(json.dumps({"out": str(out), "labels": count, "refused": refused}))
        return
    click.echo(f"{out}: {count} labels, every symbol read back, and contact-sheet.png.")
    click.echo(f"{len(refused)} that do not go together, with the reason, in refused.json.")


@click.command("stocks")
@_JSON
def stocks_command(*, as_json: bool) -> None:
    """The stocks labels are printed on."""
    found = [stocks.stock(name) for name in stocks.names()]
    if as_json:
        rows = [{"name": one.name, "kind": one.kind, "label_mm": one.label_mm, "page_mm": one.page_mm,
                 "labels": one.each_page,
                 "resolution_dpi": one.resolution_dpi, "note": one.note} for one in found]  # fmt: skip
        click.echo(json.dumps(rows))
        return
    for one in found:
        size = f"{one.label_mm[0]:g} × {one.label_mm[1]:g} mm"
        click.echo(f"{one.name:<22} {one.kind:<9} {size:<22} {one.each_page:>3} a page  {one.resolution_dpi:g} dpi")


@click.command("design", epilog="\b\nExamples:\n  foldmark label design pack\n  foldmark label design pack --check\n"
               "  foldmark label design mine.toml --check --stock roll-62x40")  # fmt: skip
@click.argument("name", metavar="[NAME or FILE.toml]", required=False)
@click.option("--check", is_flag=True, help="Try it on every stock at every resolution, and say why it does not fit.")
@click.option("--stock", "stock_name", help="Try it on this stock alone.")
@_JSON
def design_command(name: str | None, stock_name: str | None, *, check: bool, as_json: bool) -> None:
    """The designs there are, or one of them and where it fits. Exit status 1 when it fits nowhere that was asked."""
    if name is None:
        _list(as_json=as_json)
        return
    try:
        design = designs.design(name)
        wanted = [stock_name] if stock_name else stocks.names()
        tried = [(one, dpi, layout.why_not(design, stocks.stock(one, dpi))) for one in wanted for dpi in RESOLUTIONS]
    except (DesignError, StockError) as error:
        raise fail(str(error)) from error
    fits = [(one, dpi) for one, dpi, why in tried if why is None]
    if as_json:
        rows = [{"stock": one, "resolution_dpi": dpi, "why_not": why} for one, dpi, why in tried]
        click.echo(json.dumps({"design": design.name, "kind": design.kind, "says": design.says, "stocks": rows}))
    else:
        click.echo(f"{design.name}: {design.says}. Read from {design.read_at_mm:g} mm.")
        click.echo(f"Fields: {', '.join(designs.fields_of(design.kind))}.")
        _tell(tried, check=check)
    if not fits:
        raise click.exceptions.Exit(1)


def _list(*, as_json: bool) -> None:
    found = [designs.design(name) for name in designs.names()]
    if as_json:
        click.echo(json.dumps([{"name": one.name, "kind": one.kind, "says": one.says} for one in found]))
        return
    for one in found:
        click.echo(f"{one.name:<12} {one.says}")


def _tell(tried: list[tuple[str, float, str | None]], *, check: bool) -> None:
    """A line a stock; with `check` each reason, once where it is the same at every resolution."""
    for stock in dict.fromkeys(one for one, _, _ in tried):
        reasons: dict[str | None, list[str]] = {}
        for one, dpi, why in tried:
            if one == stock:
                reasons.setdefault(why, []).append(f"{dpi:g}")
        for why, at in reasons.items():
            where = "" if len(at) == len(RESOLUTIONS) else f" at {', '.join(at)} dpi"
            if why is None:
                click.echo(f"  fits     {stock}{where}")
            elif check:
                click.echo(f"  refused  {stock}{where}: {why}")


@click.command("calibrate", epilog="\b\nExample:\n  foldmark label calibrate --stock a4-21 -o ruler.pdf")
@click.option("--stock", "stock_name", required=True, help="The stock to try the printer with.")
@click.option("-o", "--out", required=True, type=click.Path(dir_okay=False, path_type=Path), help="A .pdf file.")
def calibrate_command(stock_name: str, out: Path) -> None:
    """A page that shows whether a printer prints at 100 %: rulers, and the outline of every label of the stock.

    Print it on plain paper, hold it against a sheet of labels, and measure the rulers.
    """
    try:
        page = calibration.page(stocks.stock(stock_name))
        write_whole(out, page)
    except StockError as error:
        raise fail(str(error)) from error
    except OSError as error:
        raise fail(f"{out} cannot be written ({error.strerror}): check the folder and the space on the disk") from error
    click.echo(
        f"{out}: print it at 100 % on plain paper. The ruler must measure 100 mm; the outlines must meet the labels."
    )
