"""Commands about the ledger itself: init, verify, export."""

import json
import sys
from pathlib import Path

import click

from label_templates import codes
from service.cli.files import written
from service.cli.open import fail, reading, settings_of
from service.ledger.ids import uuid7
from service.ledger.opening import create_at, open_at, place_of
from service.ledger.store import LedgerError
from service.ledger.verify import verify as verify_ledger
from service.stations.desk import Desk


@click.command(epilog='\b\nExamples:\n  foldmark init --site K7 --name "Tarn Bridge Small Animal Practice"\n'
               "  foldmark --ledger /srv/k7.db init --site K7 --name Tarn")  # fmt: skip
@click.option("--site", required=True, help="Two letters or digits that every code of this site carries.")
@click.option("--name", required=True, help="The practice's name.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.pass_context
def init(ctx: click.Context, site: str, name: str, *, as_json: bool) -> None:
    """Make a new, empty ledger with its first fact: the site opened."""
    import os  # noqa: PLC0415
    from dataclasses import replace  # noqa: PLC0415

    try:
        codes.set_code(site, 1)
    except codes.CodeError as error:
        raise fail(f"{site!r} is not a site: two capital letters or digits, such as K7") from error
    settings = settings_of(ctx)
    place = place_of(settings.ledger)
    create_at(settings.ledger)
    practice = replace(settings.practice, site=site, name=name)
    ledger = open_at(settings.ledger, practice)
    with ledger.reading() as reader:
        taken = site in reader.sites()
    if taken:
        ledger.close()
        raise LedgerError(f"site {site} is in {place} already: use it, or open another site")
    desk = Desk(ledger, practice).start()
    try:
        desk.act(uuid7(int(desk.clock().timestamp() * 1000), os.urandom(10)), "open site", by=None, body={}).result(30)
    finally:
        desk.close()
    click.echo(json.dumps({"ledger": place, "site": site}) if as_json else f"{place}: a new ledger for site {site}.")


@click.command(epilog="\b\nExamples:\n  foldmark verify\n  foldmark --ledger /srv/k7.db verify --json")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.pass_context
def verify(ctx: click.Context, *, as_json: bool) -> None:
    """Check that nobody edited the record: the chain of every site, and the tables read from it.

    It cannot tell whether what was scanned was true.
    """
    settings = settings_of(ctx)
    ledger = open_at(settings.ledger, settings.practice)
    try:
        with ledger.reading() as reader:
            found = verify_ledger(reader)
    finally:
        ledger.close()
    if as_json:
        click.echo(
            json.dumps({"ok": found.fault is None, "facts": found.facts, "heads": found.heads, "fault": found.fault})
        )
    elif found.fault is None:
        heads = ", ".join(f"{site} {head[:12]}…" for site, head in found.heads.items())
        click.echo(f"{found.facts} facts in an unbroken chain ({heads}); the tables equal their replay.")
        click.echo("The record has not been edited. Whether what was scanned was true, this cannot tell.")
    else:
        click.echo(f"NOT VERIFIED: {found.fault}. The {found.facts} facts before it hold.", err=True)
    sys.exit(0 if found.fault is None else 1)


@click.command(epilog="\b\nExamples:\n  foldmark export > facts.jsonl\n  foldmark export -o facts.jsonl --after 412")
@click.option("-o", "--out", type=click.Path(dir_okay=False), help="A file; standard output otherwise.")
@click.option("--after", default=0, help="Only facts after this number.")
@click.pass_context
def export(ctx: click.Context, out: str | None, after: int) -> None:
    """Write every fact, one JSON object a line, in the order of writing."""
    settings = settings_of(ctx)
    with reading(ctx) as reader:
        lines = (
            json.dumps(fact.as_dict(), ensure_ascii=False, separators=(",", ":")) + "\n"
            for site in ([settings.site] if settings.site else reader.sites())
            for fact in reader.of(site).facts(after)
        )
        if out is None:
            stream = click.get_text_stream("stdout", encoding="utf-8")
            stream.writelines(lines)
        else:
            with written(Path(out)) as file:
                file.writelines(line.encode() for line in lines)
