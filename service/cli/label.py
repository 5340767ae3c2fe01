"""`foldmark label`: codes and labels as PDF or PNG."""

import csv
import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import click

from label_templates import codes, raster, sheet, stocks
from label_templates.codes import CodeError
from label_templates.designs import (
    BENCH_CARDS,
    BadgeLabel,
    DesignError,
    Label,
    LoadCard,
    Mark,
    PackLabel,
    PatientCard,
    SetTag,
    ShelfLabel,
)
from label_templates.fonts import GlyphError
from label_templates.layout import LayoutError
from label_templates.proof import ProofError
from label_templates.stocks import StockError
from service.cli import label_print
from service.cli.open import fail, reading
from service.cli.printing import load_slip, mark_of, pack_label
from service.custody.records import InstrumentSet

NOTE = "Print at 100 %. Use steam-proof label stock: direct-thermal paper turns black at about 134 °C."
_SHOWN_FROM = 50


@click.group(epilog="\b\nExamples:\n  foldmark label cards -o cards.pdf\n"
             "  foldmark label loads --machine L-K7-1 --from 331 --count 8 -o loads.pdf\n"
             '  foldmark label sets "S-K7-0042-*" --name "Dental extraction A" --mark "blue, two bars" -o tag.png\n'
             "  foldmark --ledger practice.db label packs P-K7-0042-0017-R --from-ledger -o pack.pdf")  # fmt: skip
def label() -> None:
    """Draw labels into a PDF, or one of them into a PNG. Every symbol is read back before the file is written.

    Use steam-proof label stock: direct-thermal paper turns black in an autoclave.
    """


def _outputs(command: Callable[..., None]) -> Callable[..., None]:
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


def _write(
    make: Callable[[], Iterable[Label]], *, out: Path, stock_name: str | None, start: int, as_json: bool
) -> None:
    try:
        labels = list(make())
        stock = stocks.stock(stock_name or ("roll-62x40" if len(labels) == 1 else "a4-24"))
        if not labels:
            raise fail("there is nothing to print: name at least one code")
        _draw(labels, stock, out, start)
    except (CodeError, DesignError, GlyphError, LayoutError, ProofError, StockError) as error:
        raise fail(str(error)) from error
    except OSError as error:
        raise fail(f"{out} cannot be written ({error.strerror}): check the folder and the space on the disk") from error
    if as_json:
        click.echo(json.dumps({"out": str(out), "stock": stock.name, "labels": [one.face().code for one in labels]}))
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


def _mark(text: str | None) -> Mark | None:
    if not text:
        return None
    colour, _, pattern = text.partition(",")
    return Mark(colour.strip(), pattern.strip() or "solid")


def _range(first: int, count: int) -> range:
    return range(first, first + count)


@label.command()
@click.argument("codes_", metavar="CODE…", nargs=-1)
@click.option("--name", default="", help="The set's name, for all codes named.")
@click.option("--mark", help='Colour and pattern, such as "blue, two bars".')
@click.option("--csv", "table", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="A table with the columns code,name and, where wanted, mark.")  # fmt: skip
@click.option("--from-ledger", is_flag=True, help="Take names and marks from the ledger; without codes, all its sets.")
@_outputs
@click.pass_context
def sets(
    ctx: click.Context, codes_: tuple[str, ...], name: str, mark: str | None, table: Path | None, *, from_ledger: bool,
    **output: Any,
) -> None:  # fmt: skip
    """Heat-proof tags for sets."""

    def make() -> Iterable[Label]:
        if table:
            return [SetTag(row["code"], row["name"], _mark(row.get("mark"))) for row in _rows(table)]
        if from_ledger:
            return [SetTag(owner.code, owner.name, mark_of(owner)) for owner in _sets(ctx, codes_)]
        return [SetTag(code, name or code, _mark(mark)) for code in codes_]

    _write(make, **output)


def _rows(table: Path) -> list[dict[str, str]]:
    try:
        with table.open(newline="", encoding="utf-8-sig") as file:
            reader = csv.DictReader(file)
            missing = {"code", "name"} - set(reader.fieldnames or ())
            if missing:
                raise fail(f"{table} lacks the column {min(missing)}: the first line names code,name,mark")
            return list(reader)
    except (UnicodeDecodeError, csv.Error) as error:
        raise fail(f"{table} is not a CSV in UTF-8 ({error}): export it again") from error


def _sets(ctx: click.Context, wanted: Sequence[str]) -> list[InstrumentSet]:
    with reading(ctx) as reader:
        known = {owner.code: owner for owner in reader.state.sets()}
    for code in wanted:
        if code not in known:
            raise fail(f"no set is registered under {code} in this ledger: check the code")
    return [known[code] for code in wanted] if wanted else [owner for owner in known.values() if not owner.retired]


@label.command()
@click.argument("codes_", metavar="CODE…", nargs=-1, required=True)
@click.option("--name", default="", help="The set's name.")
@click.option("--mark", help='Colour and pattern, such as "blue, two bars".')
@click.option("--packed-by", default="", help="The badge of who packed it.")
@click.option("--packed-at", default="", help="When, such as 2026-03-04T10:12.")
@click.option("--short", multiple=True, help="A line of the sheet it lacks; may be given again.")
@click.option("--from-ledger", is_flag=True, help="Take all of that from the ledger.")
@_outputs
@click.pass_context
def packs(
    ctx: click.Context, codes_: tuple[str, ...], name: str, mark: str | None, packed_by: str, packed_at: str,
    short: tuple[str, ...], *, from_ledger: bool, **output: Any,
) -> None:  # fmt: skip
    """Labels for packs. The load, the sterilising date and the use-by go on a load slip: see `slips`."""

    def make() -> Iterable[Label]:
        if from_ledger:
            return _packs_from_ledger(ctx, codes_)
        return [PackLabel(code, name or code, _mark(mark), packed_by, packed_at, short) for code in codes_]

    _write(make, **output)


def _packs_from_ledger(ctx: click.Context, wanted: Sequence[str]) -> list[Label]:
    found: list[Label] = []
    with reading(ctx) as reader:
        state = reader.state
        for text in wanted:
            pack = state.pack(codes.parse_as(text, "P").text)
            owner = state.set(pack.set) if pack else None
            if pack is None or owner is None or pack.packed_at is None:
                raise fail(f"no pack was packed under {text} in this ledger: check the code")
            found.append(pack_label(owner, pack, state.practice.zone))
    return found


@label.command()
@click.argument("load")
@_outputs
@click.pass_context
def slips(ctx: click.Context, load: str, **output: Any) -> None:
    """Load slips for LOAD, one a pack: the load, its day in steam, the use-by. Printed at loading."""

    def make() -> Iterable[Label]:
        with reading(ctx) as reader:
            state = reader.state
            record = state.load(codes.parse_as(load, "L").text)
            if record is None or record.started_at is None:
                raise fail(f"load {load} was not started in this ledger: start it at loading first")
            machine = state.machine(record.machine)
            there = [pack for code in record.packs if (pack := state.pack(code))]
            return [load_slip(record, machine, pack, state.practice.zone) for pack in there]

    _write(make, **output)


@label.command()
@click.option("--machine", required=True, help="Such as L-K7-1 (steam) or W-K7-1 (wash).")
@click.option("--machine-name", default="", help="What people call it.")
@click.option("--from", "first", default=1, type=click.IntRange(0, 9999), help="The first number.")
@click.option("--count", default=24, type=click.IntRange(1, 1000), help="How many.")
@_outputs
def loads(machine: str, machine_name: str, first: int, count: int, **output: Any) -> None:
    """Load cards, laid with the machine until they are used."""
    _write(
        lambda: [LoadCard(codes.load_code(machine, n).text, machine_name or machine) for n in _range(first, count)],
        **output,
    )


def _numbered(command_name: str, words: str, make: Callable[[str, int], Label]) -> None:
    @label.command(command_name, help=words)
    @click.option("--site", required=True, help="The site's two characters.")
    @click.option("--from", "first", default=1, type=click.IntRange(0), help="The first number.")
    @click.option("--count", default=24, type=click.IntRange(1, 1000), help="How many.")
    @_outputs
    def numbered(site: str, first: int, count: int, **output: Any) -> None:
        _write(lambda: [make(site, number) for number in _range(first, count)], **output)


_numbered("badges", "Badges.", lambda site, n: BadgeLabel(codes.badge_code(site, n).text, ""))
_numbered("shelves", "Shelf labels.", lambda site, n: ShelfLabel(codes.shelf_code(site, n).text, ""))
_numbered(
    "patients", "A roll of provisional patient codes.", lambda site, n: PatientCard(codes.patient_code(site, n).text)
)


@label.command()
@_outputs
def cards(**output: Any) -> None:
    """Every bench card: DONE, END, WET, the digits and the rest."""
    _write(lambda: list(BENCH_CARDS), **output)


label_print.add_to(label)
