"""A ledger by its name: the path of a file, or the address of a database."""

from pathlib import Path
from typing import Any

from service.custody.practice import Practice
from service.ledger import sqlite
from service.ledger.store import Ledger, LedgerError
from service.ledger.verify import Verdict

_SCHEMES = ("postgresql", "postgres")


def is_database(where: str) -> bool:
    """Whether `where` is the address of a database. Raises LedgerError for an address of another kind."""
    scheme, gap, _ = where.partition("://")
    if gap and scheme not in _SCHEMES:
        raise LedgerError(f"a ledger at {scheme}:// cannot be opened: name a file, or postgresql://USER@HOST/DATABASE")
    return bool(gap)


def open_at(where: str, practice: Practice, *, unfinished: bool = False) -> Ledger:
    """The ledger at `where`, for the site of `practice`. Raises LedgerError."""
    if is_database(where):
        ledger: Ledger = _postgres().PostgresLedger(where, practice, unfinished=unfinished)
        return ledger
    return sqlite.SqliteLedger(Path(where), practice, unfinished=unfinished)


def create_at(where: str) -> None:
    """Make a new ledger. One that a database holds already is left as it is: it may take another site.

    Raises LedgerError.
    """
    if is_database(where):
        _postgres().create(where)
    else:
        sqlite.create(Path(where))


def follow_at(where: str, sites: tuple[str, ...]) -> None:
    """Make an empty ledger for sites whose facts come by replication. Raises LedgerError for a file."""
    if not is_database(where):
        raise LedgerError(
            f"{where} is a file: only a PostgreSQL ledger can follow others; use  foldmark copy  for files"
        )
    _postgres().follow(where, sites)


def migrate_at(where: str, practice: Practice) -> tuple[int, Verdict]:
    """Bring the ledger at `where` forward to this version: the version it was, and what verify found then."""
    if is_database(where):
        moved: tuple[int, Verdict] = _postgres().migrate(where, practice)
        return moved
    return sqlite.migrate(Path(where), practice)


def place_of(where: str) -> str:
    """`where`, fit to be shown: without a password."""
    return str(_postgres().place_of(where)) if is_database(where) else where


def _postgres() -> Any:
    try:
        from service.ledger import postgres  # noqa: PLC0415  (an extra that a single practice does not need)
    except ImportError as error:
        raise LedgerError(
            "PostgreSQL needs the extra parts: install them with  pip install 'foldmark[postgres]'"
        ) from error
    return postgres
