"""Commands about the ledger itself: init, export."""

import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from label_templates import codes
from service.cli.files import written
from service.cli.open import fail, key_path, reading, settings_of
from service.ledger.ids import uuid7
from service.ledger.keys import load_key, make_key
from service.ledger.opening import create_at, follow_at, open_at, place_of
from service.ledger.store import LedgerError
from service.stations.desk import Desk


def say(desk: Desk, does: str, **body: Any) -> None:
    """Let the office do something that nobody's badge stands for."""
    act = uuid7(int(desk.clock().timestamp() * 1000), os.urandom(10))
    desk.act(act, does, by=None, body=body).result(30)


@click.command(epilog='\b\nExamples:\n  foldmark init --site K7 --name "Tarn Bridge Small Animal Practice"\n'
               "  foldmark --ledger /srv/k7.db init --site K7 --name Tarn")  # fmt: skip
@click.option("--site", help="Two letters or digits that every code of this site carries.")
@click.option("--name", help="The practice's name.")
@click.option("--follow", multiple=True, metavar="SITE", help="A head office instead: an empty PostgreSQL ledger for "
              "this site's replicated facts. May be given again.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.pass_context
def init(ctx: click.Context, site: str | None, name: str | None, follow: tuple[str, ...], *, as_json: bool) -> None:
    """Make a new ledger with its first facts: the site opened, and its signing key named."""
    if follow:
        _follow(settings_of(ctx).ledger, follow, as_json=as_json)
        return
    if not site or not name:
        raise fail("a new ledger needs --site and --name, such as  --site K7 --name 'Tarn Bridge'")
    _valid(site)
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
    path = key_path(settings, site)
    desk = Desk(ledger, practice).start()
    try:
        signing = load_key(path) if path.exists() else make_key(path)
        say(desk, "open site")
        say(desk, "name key", key=signing.public)
    finally:
        desk.close()
    if as_json:
        click.echo(json.dumps({"ledger": place, "site": site, "key_file": str(path), "key": signing.public}))
        return
    click.echo(f"{place}: a new ledger for site {site}.")
    click.echo(
        f"{path}: its signing key. Keep it apart from the ledger and its backups; FOLDMARK_KEY says where it is."
    )
    click.echo(f"Write its first 16 digits into the paper log book: {signing.public[:16]}")


def _valid(site: str) -> None:
    try:
        codes.set_code(site, 1)
    except codes.CodeError as error:
        raise fail(f"{site!r} is not a site: two capital letters or digits, such as K7") from error


def _follow(where: str, sites: tuple[str, ...], *, as_json: bool) -> None:
    for site in sites:
        _valid(site)
    follow_at(where, sites)
    place = place_of(where)
    told = f"{place}: an empty ledger for the facts of {', '.join(sites)}; subscribe it to theirs (docs/scaling.md)."
    click.echo(json.dumps({"ledger": place, "follows": sites}) if as_json else told)


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
