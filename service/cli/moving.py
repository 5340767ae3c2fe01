"""Commands that move a ledger: copy, backup, restore, migrate."""

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from service.cli.open import settings_of
from service.ledger import moving
from service.ledger.migrations import VERSION
from service.ledger.opening import migrate_at, place_of
from service.ledger.verify import Verdict

_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
_EVERY = 10
"""Percent between two lines of progress where nobody watches a terminal."""


@contextmanager
def _watched(what: str) -> Iterator[moving.Progress]:
    """Progress on standard error: a line that counts on a terminal, a line every tenth in a log."""
    told = -_EVERY

    def progress(done: int, total: int) -> None:
        nonlocal told
        percent = 100 * done // max(total, 1)
        if sys.stderr.isatty():
            click.echo(f"\r{what}: {done} of {total}", err=True, nl=False)
        elif percent >= told + _EVERY or done == total:
            told = percent
            click.echo(f"{what}: {percent} %", err=True)

    yield progress
    if sys.stderr.isatty():
        click.echo("", err=True)


def _tell(what: str, found: Verdict, *, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps({"ok": found.fault is None, "facts": found.facts, "heads": found.heads}))
        return
    heads = ", ".join(f"{site} {head[:12]}…" for site, head in found.heads.items())
    click.echo(f"{what}: {found.facts} facts, verified ({heads}).")


@click.command(epilog="\b\nExamples:\n  foldmark copy practice.db postgresql://foldmark@127.0.0.1/group\n"
               "  foldmark copy postgresql://foldmark@127.0.0.1/group practice.db\n"
               "  foldmark copy facts.jsonl practice.db     what foldmark export wrote")  # fmt: skip
@click.argument("source", metavar="FROM")
@click.argument("target", metavar="TO")
@_JSON
@click.pass_context
def copy(ctx: click.Context, source: str, target: str, *, as_json: bool) -> None:
    """Copy a whole ledger FROM one place TO another, and verify it there: file, database, or exported facts.

    Stopped half-way, the same command goes on where it stopped. Until it is done, TO cannot be used.
    """
    with _watched("copying") as progress:
        found = moving.copy(source, target, settings_of(ctx).practice, progress)
    _tell(place_of(target), found, as_json=as_json)


@click.command(epilog="\b\nExamples:\n  foldmark backup /mnt/backup/practice-2026-03-04.db\n"
               "  foldmark --ledger postgresql://foldmark@127.0.0.1/group backup group.db")  # fmt: skip
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@_JSON
@click.pass_context
def backup(ctx: click.Context, file: Path, *, as_json: bool) -> None:
    """Write everything to FILE while the service goes on, and verify it. It holds names: keep it safe.

    The signing key is not in it: keep that apart.
    """
    settings = settings_of(ctx)
    with _watched("backing up") as progress:
        found = moving.backup(settings.ledger, file, settings.practice, progress)
    _tell(str(file), found, as_json=as_json)


@click.command(epilog="\b\nExamples:\n  foldmark --ledger practice.db restore /mnt/backup/practice-2026-03-04.db")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@_JSON
@click.pass_context
def restore(ctx: click.Context, file: Path, *, as_json: bool) -> None:
    """Put the backup FILE where the ledger is to be, verified first. Never over a ledger that is there."""
    settings = settings_of(ctx)
    with _watched("restoring") as progress:
        found = moving.restore(file, settings.ledger, settings.practice, progress)
    _tell(place_of(settings.ledger), found, as_json=as_json)


@click.command(epilog="\b\nExamples:\n  cp practice.db before.db && foldmark migrate")
@_JSON
@click.pass_context
def migrate(ctx: click.Context, *, as_json: bool) -> None:
    """Bring the ledger forward to this version of Foldmark. Stop the service and keep a copy first.

    It is one transaction, and ends only if the ledger still verifies.
    """
    settings = settings_of(ctx)
    was, found = migrate_at(settings.ledger, settings.practice)
    if as_json:
        click.echo(json.dumps({"was": was, "is": VERSION, "facts": found.facts, "heads": found.heads}))
    elif was == VERSION:
        click.echo(f"{place_of(settings.ledger)} is of version {VERSION} already, and verifies.")
    else:
        click.echo(f"{place_of(settings.ledger)}: from version {was} to {VERSION}; {found.facts} facts, verified.")
