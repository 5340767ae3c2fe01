"""How a command gets at the ledger that was named."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import click

from label_templates import codes
from service import settings as settings_file
from service.custody.practice import Practice, ProgrammeLimits
from service.ledger.opening import is_database, open_at
from service.ledger.store import Ledger, LedgerError, Reader
from service.settings import Settings
from service.stations.limits import programmes_here


def settings_of(ctx: click.Context) -> Settings:
    """The settings, with the options of the command line above them."""
    told = ctx.obj or {}
    path = told.get("settings")
    found = settings_file.load(Path(path) if path else None)
    for name in ("ledger", "site"):
        if told.get(name):
            found = replace(found, **{name: told[name]})
    limits = {
        p.name: ProgrammeLimits(p.name, p.set_c, p.holds, immediate=p.immediate, removal=p.removal)
        for p in programmes_here(found.practice)
    }
    return replace(found, practice=settings_file.with_programmes(found.practice, limits))


def open_ledger(settings: Settings, code: str | None = None) -> tuple[Ledger, Practice]:
    """The ledger and its site's choices: the site's code and name are the ledger's own.

    A ledger of several sites is opened for the one that `code` belongs to, or that was named by --site.
    """
    ledger = open_at(settings.ledger, settings.practice)
    try:
        with ledger.reading() as reader:
            practice = _site_of(reader, settings, code)
    except BaseException:
        ledger.close()
        raise
    ledger.practice = practice
    return ledger, practice


def _site_of(reader: Reader, settings: Settings, code: str | None) -> Practice:
    sites = reader.sites()
    if not sites:
        return settings.practice
    wanted = settings.site or (codes.parse(code).site if code else None) or (sites[0] if len(sites) == 1 else None)
    if wanted is None:
        raise LedgerError(f"{len(sites)} sites share this ledger: name one with --site {' or --site '.join(sites)}")
    if wanted not in sites:
        if settings.site is None and len(sites) == 1:
            wanted = sites[0]
        else:
            raise LedgerError(f"site {wanted} is not in this ledger: it holds {', '.join(sites)}")
    site = reader.of(wanted).get("site", wanted)
    return replace(settings.practice, site=wanted, name=getattr(site, "name", wanted))


@contextmanager
def reading(ctx: click.Context, code: str | None = None) -> Iterator[Reader]:
    """A look at the ledger, at the site of `code` where it holds several."""
    ledger, _ = open_ledger(settings_of(ctx), code)
    try:
        with ledger.reading() as reader:
            yield reader
    finally:
        ledger.close()


def key_path(settings: Settings, site: str) -> Path:
    """Where the site's signing key is: as set, or beside a ledger file; for a database, in the folder one works in."""
    if settings.key:
        return Path(settings.key)
    if is_database(settings.ledger):
        return Path(f"foldmark-{site}.key")
    ledger = Path(settings.ledger)
    return ledger.with_name(f"{ledger.stem}-{site}.key")


def fail(message: str, status: int = 2) -> click.ClickException:
    """An error of one line with this exit status."""
    error = click.ClickException(message)
    error.exit_code = status
    return error
