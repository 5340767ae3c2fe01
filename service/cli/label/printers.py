"""`foldmark label printers` and `foldmark label queue`: labels straight to a printer, and what waits for one."""

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import click

from label_templates import stocks
from label_templates.printer import find, formats, words
from label_templates.printer.document import Document
from label_templates.printer.drawing import paper
from label_templates.printer.ipp import AddressError, Printer, PrinterError, address
from label_templates.printer.messages import lone
from label_templates.printer.queue import CANCELLED, PRINTED, Job, Order, Queue, QueueError
from label_templates.printer.work import How, cancel, work
from label_templates.stocks import Stock
from service.cli.open import fail

QUEUE = "print-queue.db"
_SHOWN = 20
"""Ended jobs that are listed; --json lists all there are."""
queue_option = click.option(
    "--queue", "queue_file", envvar="FOLDMARK_PRINT_QUEUE", default=QUEUE, show_default=True,
    type=click.Path(dir_okay=False, path_type=Path), help="Where labels wait. Also FOLDMARK_PRINT_QUEUE.",
)  # fmt: skip
any_stock_option = click.option("--any-stock", is_flag=True, help="Print on whatever is loaded.")


def send(
    document: Document, stock: Stock, printer: str, title: str, codes: Sequence[str], copies: int = 1, *,
    queue_file: Path = Path(QUEUE), any_stock: bool = False, tell: Callable[[str], None] = click.echo,
) -> Job:  # fmt: skip
    """Keep a document in the queue, print it with what waits for that printer, and say how it goes, a line a change.

    The job as it is in the end: its `state` is `printed` when the printer said so, `waiting` when another process will
    print it. Raises ClickException, status 2, for an address that is none, and for a queue that cannot be written:
    nothing is sent that is not kept, and what was sent by then is asked after by the next `queue go`.
    """
    try:
        with Queue(queue_file) as queue:
            job = queue.add(Order(document, paper(stock), address(printer), title, codes, copies))
            _worked(queue, job.printer, tell, any_stock=any_stock)
            return queue.job(job.id)
    except (QueueError, AddressError) as error:
        raise fail(str(error)) from error


def stock_at(printer: str, stock: Stock) -> Stock:
    """The stock at the resolution of this printer, where it says one of ours; as it is where it does not answer."""
    try:
        with Printer(address(printer), timeout_s=5) as there:
            told = there.attributes()
    except AddressError as error:
        raise fail(str(error)) from error
    except PrinterError:
        return stock
    dots = told.get("pwg-raster-document-resolution-supported") or told.get("printer-resolution-supported") or []
    known = [dpi for dpi in stocks.RESOLUTIONS if round(dpi) in {across for across, _ in dots}]
    if not known or stock.resolution_dpi in known:
        return stock
    return replace(stock, resolution_dpi=known[-1])


def _worked(queue: Queue, uri: str, tell: Callable[[str], None], *, any_stock: bool) -> None:
    try:
        for line in work(queue, uri, How(tell, any_stock=any_stock)):
            tell(line)
    except KeyboardInterrupt:
        tell("left: what was not printed is kept, and foldmark label queue go follows it")


@click.command()
@click.option("--seconds", default=2.0, show_default=True, type=click.FloatRange(0.1, 60), help="How long to listen.")
@click.option("--uri", "named", multiple=True, metavar="ADDRESS", help="Look at this printer as well.")
@click.option("--trust", metavar="ADDRESS", help="Believe this printer's new certificate from now on.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@queue_option
def printers(seconds: float, named: tuple[str, ...], trust: str | None, queue_file: Path, *, as_json: bool) -> None:
    """Printers on the network and in CUPS: how they are, what is loaded, what they take."""
    try:
        if trust:
            with Queue(queue_file) as queue:
                queue.note_certificate(address(trust), None)
        there = [find.Found(name, address(name), "named") for name in (*named, *([trust] if trust else []))]
    except (QueueError, AddressError) as error:
        raise fail(str(error)) from error
    there += find.in_cups()
    missing = ""
    try:
        there += find.on_network(seconds)
    except find.FindError as error:
        missing = str(error)
    looked = [_looked(one) for one in there]
    if as_json:
        click.echo(json.dumps({"printers": looked, "note": missing or None}, ensure_ascii=False))
        return
    for one in looked:
        click.echo(f"{one['name']}  {one['uri']}\n  {_said(one)}")
    if missing:
        click.echo(missing, err=True)
    if not looked:
        click.echo("No printer answered: turn it on, or name one with --printer ipp://ADDRESS/ipp/print.")


def _looked(one: find.Found) -> dict[str, Any]:
    told = asdict(one)
    try:
        with Printer(one.uri, timeout_s=5) as printer:
            attributes = printer.attributes()
    except PrinterError as error:
        return told | {"state": str(error), "loaded": [], "formats": [], "dpi": []}
    takes = attributes.get("document-format-supported", [])
    known = [kind for kind in (formats.PDF, formats.RASTER) if kind in takes]
    dots = attributes.get("pwg-raster-document-resolution-supported") or attributes.get("printer-resolution-supported")
    reasons = [str(reason) for reason in attributes.get("printer-state-reasons", [])]
    return told | {
        "state": words.state(int(lone(attributes, "printer-state") or 0), reasons),
        "loaded": formats.sizes(attributes),
        "formats": known,
        "dpi": sorted({across for across, _ in dots or []}),
    }


def _said(one: dict[str, Any]) -> str:
    parts = [one["state"]]
    if one["loaded"]:
        parts.append(f"holds {', '.join(one['loaded'])}")
    if one["formats"]:
        parts.append(" and ".join("PDF" if kind == formats.PDF else "PWG raster" for kind in one["formats"]))
    if one["dpi"]:
        parts.append(f"{', '.join(map(str, one['dpi']))} dpi")
    return " · ".join(parts)


@click.group("queue", invoke_without_command=True)
@queue_option
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.pass_context
def print_queue(ctx: click.Context, queue_file: Path, *, as_json: bool) -> None:
    """Labels that were to be printed: what waits, what was printed, what nobody knows of. Without a word, the list."""
    if not queue_file.exists():
        raise fail(f"there is no print queue {queue_file}: nothing was printed from here, or name it with --queue")
    try:
        ctx.obj = ctx.with_resource(Queue(queue_file))
        if ctx.invoked_subcommand is None:
            _listed(ctx.obj.jobs(), as_json=as_json)
    except QueueError as error:
        raise fail(str(error)) from error


@print_queue.command()
@any_stock_option
@click.pass_obj
def go(queue: Queue, *, any_stock: bool) -> None:
    """Print what waits, and ask the printers after what was sent. Exit status 1 while something is left."""
    with _told():
        before = [job for job in queue.jobs() if job.open]
        for uri in dict.fromkeys(job.printer for job in before):
            _worked(queue, uri, click.echo, any_stock=any_stock)
        if not before:
            click.echo("Nothing waits.")
        _end_with(queue.job(job.id) for job in before)


@print_queue.command()
@click.argument("number", metavar="ID", type=int)
@any_stock_option
@click.pass_obj
def again(queue: Queue, number: int, *, any_stock: bool) -> None:
    """Print the labels of job ID once more, marked as a copy where the first may have been printed."""
    with _told():
        job = queue.again(number)
        _worked(queue, job.printer, click.echo, any_stock=any_stock)
        _end_with([queue.job(job.id)])


@print_queue.command("cancel")
@click.argument("number", metavar="ID", type=int)
@click.pass_obj
def cancel_job(queue: Queue, number: int) -> None:
    """Cancel job ID, at the printer too where it is there."""
    with _told():
        job = queue.job(number)
        click.echo(f"job {job.id}, {job.title}: {cancel(queue, job)}")


@contextmanager
def _told() -> Iterator[None]:
    """What cannot be done, in one line."""
    try:
        yield
    except (QueueError, PrinterError) as error:
        raise fail(str(error)) from error


def _end_with(jobs: Iterable[Job]) -> None:
    """Exit status 1 unless all of them were printed, or cancelled by somebody."""
    if any(job.state not in {PRINTED, CANCELLED} for job in jobs):
        sys.exit(1)


def _listed(jobs: list[Job], *, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps([_row(job) for job in jobs], ensure_ascii=False))
        return
    ended = [job for job in jobs if not job.open][-_SHOWN:]
    for job in sorted([job for job in jobs if job.open] + ended, key=lambda job: job.id):
        copy = f", copy of job {job.copy_of}" if job.copy_of else ""
        why = f", {job.words}" if job.words else ""
        click.echo(f"{job.id:>4}  {job.state:9}  {job.title}{copy}, to {job.printer}{why}")
    if not jobs:
        click.echo("Nothing was printed from here yet.")
    elif held := sum(job.open for job in jobs):
        click.echo(f"{held} to print: foldmark label queue go")


def _row(job: Job) -> dict[str, Any]:
    return {
        "id": job.id, "state": job.state, "words": job.words, "title": job.title, "codes": list(job.codes),
        "copies": job.copies, "copy_of": job.copy_of, "printer": job.printer, "stock": job.paper.name,
        "added_at": job.added_at, "changed_at": job.changed_at,
    }  # fmt: skip
