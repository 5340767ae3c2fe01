"""How a command gets at the ledger that was named."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import click

from service import settings as settings_file
from service.custody.practice import Practice, ProgrammeLimits
from service.ledger.reading import SqliteReader
from service.ledger.sqlite import SqliteLedger
from service.ledger.store import LedgerError
from service.settings import Settings
from service.steam.programme import all_programmes


def settings_of(ctx: click.Context) -> Settings:
    """The settings, with the options of the command line above them."""
    told = ctx.obj or {}
    path = told.get("settings")
    found = settings_file.load(Path(path) if path else None)
    if told.get("ledger"):
        found = replace(found, ledger=told["ledger"])
    limits = {
        p.name: ProgrammeLimits(p.name, int(p.set_c), wrapped=p.wrapped, immediate=p.immediate, removal=p.removal)
        for p in all_programmes()
    }
    return replace(found, practice=settings_file.with_programmes(found.practice, limits))


def ledger_path(settings: Settings) -> Path:
    """Where the ledger file is. Raises LedgerError for a store this version does not have."""
    if "://" in settings.ledger:
        scheme = settings.ledger.split("://", 1)[0]
        raise LedgerError(f"a ledger at {scheme}:// cannot be opened by this version: name a file")
    return Path(settings.ledger)


def open_ledger(settings: Settings) -> tuple[SqliteLedger, Practice]:
    """The ledger and its site's choices: the site's code and name are the ledger's own."""
    path = ledger_path(settings)
    ledger = SqliteLedger(path, settings.practice)
    with ledger.reading() as reader:
        sites = reader.everything("site")
    if not sites:
        return ledger, settings.practice
    site = sites[0]
    practice = replace(settings.practice, site=site.code, name=getattr(site, "name", site.code))
    ledger.close()
    return SqliteLedger(path, practice), practice


@contextmanager
def reading(ctx: click.Context) -> Iterator[SqliteReader]:
    ledger, _ = open_ledger(settings_of(ctx))
    try:
        with ledger.reading() as reader:
            yield reader
    finally:
        ledger.close()


def fail(message: str, status: int = 2) -> click.ClickException:
    """An error of one line with this exit status."""
    error = click.ClickException(message)
    error.exit_code = status
    return error
