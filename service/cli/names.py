"""Personal data: the names that stand beside the ledger, shown, exported and erased."""

import json
import os
from pathlib import Path

import click

from service.cli.files import written
from service.cli.open import fail, open_ledger, reading, settings_of
from service.ledger.ids import uuid7
from service.stations.desk import Desk


@click.command(
    epilog="\b\nExamples:\n  foldmark names\n  foldmark names A-K7-000827-R --json\n  foldmark names -o names.jsonl"
)
@click.argument("code", required=False)
@click.option(
    "-o", "--out", type=click.Path(dir_okay=False, path_type=Path), help="Write them here, one object a line."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a line.")
@click.pass_context
def names(ctx: click.Context, code: str | None, out: Path | None, *, as_json: bool) -> None:
    """Every name kept beside the ledger: people and patients, by code. Facts hold codes only."""
    with reading(ctx) as reader:
        rows = [row for row in reader.names() if code in {None, row[0]}]
    if code and not rows:
        raise fail(f"no name stands beside {code} here", status=1)
    lines = [
        json.dumps(dict(zip(("code", "kind", "name", "detail"), row, strict=True)), ensure_ascii=False) + "\n"
        for row in rows
    ]
    if out:
        with written(out) as file:
            file.writelines(line.encode() for line in lines)
        click.echo(f"{out}: {len(rows)} names. Keep this file safe, or erase it.")
    elif as_json:
        click.echo("".join(lines), nl=False)
    else:
        for row in rows:
            click.echo(f"{row[0]:<18} {row[1]:<8} {row[2]}{f', {row[3]}' if row[3] else ''}")


@click.command(epilog="\b\nExamples:\n  foldmark forget A-K7-000827-R\n  foldmark forget B-K7-003-J --yes --json")
@click.argument("code")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.pass_context
def forget(ctx: click.Context, code: str, *, yes: bool, as_json: bool) -> None:
    """Erase the name that stands beside CODE, for good. The facts stay: they hold the code, and the chain verifies.

    Backups made before still hold the name: erase or replace them too.
    """
    settings = settings_of(ctx)
    ledger, _ = open_ledger(settings)
    desk = Desk(ledger, ledger.practice).start()
    try:
        with ledger.reading() as reader:
            if reader.name(code) is None:
                raise fail(f"no name stands beside {code} here: nothing was erased", status=1)
        if not yes:
            click.confirm(f"Erase the name beside {code} for good?", abort=True, err=True)
        act = uuid7(int(desk.clock().timestamp() * 1000), os.urandom(10))
        desk.beside(act, lambda batch: batch.forget_name(code), {"forgotten": code}).result(30)
    finally:
        desk.close()
    if as_json:
        click.echo(json.dumps({"forgotten": code}))
    else:
        click.echo(f"The name beside {code} is erased. Its facts stay, and the chain verifies. Mind older backups.")
