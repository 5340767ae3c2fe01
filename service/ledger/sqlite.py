"""The embedded ledger: one SQLite file, one writer, read-only readers."""

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any

import sqlite_utils

from service.custody.chain import State
from service.custody.facts import Fact, stamp
from service.custody.practice import Practice
from service.custody.records import Record
from service.ledger.ids import uuid7
from service.ledger.reading import SqliteReader
from service.ledger.seal import seal
from service.ledger.store import LedgerError, LedgerUnavailable
from service.ledger.tables import (
    INSERT_FACT,
    UPSERT,
    fact_row,
    row_of,
)

VERSION = 1
APPLICATION = 0x464D4B31  # "FMK1": how the file says it is a Foldmark ledger
_CACHED = 20_000


def create(path: Path) -> None:
    """Make a new, empty ledger file. Raises LedgerError when something is there or the folder is not writable."""
    if path.exists():
        raise LedgerError(f"{path} is there already: choose another name, or use that ledger")
    try:
        db = sqlite_utils.Database(str(path))
        connection = db.conn
        connection.executescript(resources.files("service.ledger").joinpath("sql/schema.sql").read_text("utf-8"))
        connection.execute(f"PRAGMA application_id = {APPLICATION}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.close()
    except sqlite3.Error as error:
        path.unlink(missing_ok=True)
        raise LedgerError(f"{path} cannot be made ({error}): check the folder and the space on the disk") from error


def _open(path: Path, *, read_only: bool) -> sqlite3.Connection:
    mode = "ro" if read_only else "rw"
    uri = f"file:{str(path).replace('?', '%3f').replace('#', '%23')}?mode={mode}"
    connection = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, timeout=10)
    connection.execute("PRAGMA busy_timeout = 10000")
    return connection


def check_file(path: Path) -> None:
    """Raise LedgerError unless `path` is a ledger this version can use. Only its first page is read."""
    if not path.exists():
        raise LedgerError(f"there is no ledger at {path}: make one with  foldmark init --ledger {path}")
    if not path.is_file() or not os.access(path, os.R_OK):
        raise LedgerError(f"{path} cannot be read: check what it is and who may read it")
    try:
        connection = _open(path, read_only=True)
        try:
            application = connection.execute("PRAGMA application_id").fetchone()[0]
            version = connection.execute("PRAGMA user_version").fetchone()[0]
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise LedgerError(f"{path} cannot be read as a ledger ({error}): restore it from a backup") from error
    if application != APPLICATION:
        raise LedgerError(f"{path} is not a Foldmark ledger: check the path")
    if version > VERSION:
        raise LedgerError(
            f"{path} was made by a newer Foldmark (ledger version {version}, this one knows {VERSION}): update Foldmark"
        )


class _Cache(SqliteReader):
    """The writer's look: records met lately are kept, so that a scan seldom reads the file."""

    def __init__(self, connection: sqlite3.Connection, practice: Practice) -> None:
        super().__init__(connection, practice)
        self.kept: dict[tuple[str, str], Record] = {}
        self.kept_hands: dict[str, str] = {}

    def forget(self) -> None:
        """Another program wrote: what was kept may be old."""
        self.kept.clear()
        self.kept_hands.clear()

    def hand(self, station: str) -> str | None:
        return self.kept_hands.get(station) or super().hand(station)

    def get(self, kind: str, code: str) -> Record | None:
        key = (kind, code)
        found = self.kept.get(key)
        if found is None:
            found = super().get(kind, code)
            if found is not None:
                self.keep(key, found)
        return found

    def keep(self, key: tuple[str, str], record: Record | None) -> None:
        if len(self.kept) >= _CACHED:
            self.kept.clear()
        if record is None:
            self.kept.pop(key, None)
        else:
            self.kept[key] = record


class SqlitePart:
    """One scan's share of a batch."""

    def __init__(self, batch: "SqliteBatch") -> None:
        self._batch = batch
        self.state = batch.state.branch()
        self.heads = dict(batch.heads)
        self.noted: list[Fact] = []

    def note(self, facts: list[Fact]) -> list[Fact]:
        """Seal `facts`, fold them in, and return them as they will stand in the ledger."""
        sealed = [self._seal(fact) for fact in facts]
        self.noted.extend(sealed)
        return sealed

    def _seal(self, fact: Fact) -> Fact:
        seq, prev = self.heads.get(fact.site) or self._batch.cache.head(fact.site)
        fact_id = uuid7(self._batch.noted_at_ms, os.urandom(10))
        sealed = seal(fact, seq=seq + 1, fact_id=fact_id, noted_at=self._batch.noted_at, prev=prev)
        self.heads[fact.site] = (sealed.seq, sealed.hash)
        self.state.evolve(sealed)
        return sealed


class SqliteBatch:
    """One transaction of the writer."""

    def __init__(self, cache: _Cache, practice: Practice, noted_at_ms: int) -> None:
        self.cache = cache
        self.state = State(cache, practice)
        self.noted_at_ms = noted_at_ms
        self.noted_at = stamp(datetime.fromtimestamp(noted_at_ms / 1000, UTC))
        self.heads: dict[str, tuple[int, str]] = {}
        self._facts: list[Fact] = []
        self._answers: dict[str, str] = {}
        self._hands: dict[str, str] = {}
        self._names: dict[str, tuple[str, str, str, str | None]] = {}
        self._logs: list[tuple[str, str, str, bytes]] = []

    @contextmanager
    def part(self) -> Iterator[SqlitePart]:
        part = SqlitePart(self)
        yield part
        part.state.merge()
        self.heads = part.heads
        self._facts.extend(part.noted)

    def answer(self, scan: str) -> str | None:
        return self._answers.get(scan) or self.cache.answer(scan)

    def keep_answer(self, scan: str, body: str) -> None:
        self._answers[scan] = body

    def hand(self, station: str) -> str | None:
        return self._hands.get(station) or self.cache.hand(station)

    def hands(self) -> dict[str, str]:
        return self.cache.hands() | self._hands

    def keep_hand(self, station: str, body: str) -> None:
        self._hands[station] = body

    def keep_name(self, code: str, kind: str, name: str, detail: str | None) -> None:
        self._names[code] = (code, kind, name, detail)

    def keep_log(self, sha256: str, load: str, programme: str, body: bytes) -> None:
        self._logs.append((sha256, load, programme, body))

    def write(self, connection: sqlite3.Connection) -> None:
        """Put everything of this batch into the open transaction."""
        connection.executemany(INSERT_FACT, [fact_row(fact) for fact in self._facts])
        by_kind: dict[str, list[tuple[Any, ...]]] = {}
        for (kind, code), record in self.state.changed.items():
            if record is None:
                connection.execute(f'DELETE FROM "{kind}" WHERE code = ?', (code,))  # noqa: S608 (kinds are ours)
            else:
                by_kind.setdefault(kind, []).append(row_of(kind, record))
        for kind, rows in by_kind.items():
            connection.executemany(UPSERT[kind], rows)
        connection.executemany("INSERT INTO answer (scan, body) VALUES (?, ?)", self._answers.items())
        connection.executemany(
            "INSERT INTO hand (station, body) VALUES (?, ?) ON CONFLICT (station) DO UPDATE SET body = excluded.body",
            self._hands.items(),
        )
        connection.executemany(
            "INSERT INTO name (code, kind, name, detail) VALUES (?, ?, ?, ?) ON CONFLICT (code) DO UPDATE SET "
            "kind = excluded.kind, name = excluded.name, detail = excluded.detail",
            self._names.values(),
        )
        connection.executemany(
            "INSERT INTO cycle_log (sha256, load, programme, body) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
            self._logs,
        )

    def settle(self) -> None:
        """The transaction is durable: what it changed is what the cache knows."""
        for key, record in self.state.changed.items():
            self.cache.keep(key, record)
        self.cache.kept_hands.update(self._hands)


class SqliteLedger:
    """An open ledger file. Raises LedgerError when the file is missing, foreign, damaged or newer."""

    def __init__(self, path: Path, practice: Practice) -> None:
        check_file(path)
        self.path = path
        self.practice = practice
        self._local = threading.local()
        self._readers: list[sqlite3.Connection] = []
        self._writer: sqlite3.Connection | None = None
        self._cache: _Cache | None = None
        self._seen: dict[str, tuple[int, str]] = {}

    def _writing(self) -> tuple[sqlite3.Connection, _Cache]:
        if self._writer is None or self._cache is None:
            self._writer = _open(self.path, read_only=False)
            self._writer.execute("PRAGMA synchronous = FULL")
            self._cache = _Cache(self._writer, self.practice)
        return self._writer, self._cache

    @contextmanager
    def batch(self, noted_at_ms: int) -> Iterator[SqliteBatch]:
        """One transaction. Only the one writer may call it, from one thread."""
        try:
            connection, cache = self._writing()
            connection.execute("BEGIN IMMEDIATE")
        except sqlite3.Error as error:
            raise LedgerUnavailable(
                f"{self.path} cannot be written ({error}): check the disk and who uses it"
            ) from error
        try:
            if any(cache.head(site) != head for site, head in self._seen.items()):
                cache.forget()
                self._seen.clear()
            work = SqliteBatch(cache, self.practice, noted_at_ms)
            yield work
            work.write(connection)
            connection.execute("COMMIT")
        except BaseException as error:
            self._roll_back(connection)
            if isinstance(error, sqlite3.Error):
                raise LedgerUnavailable(f"{self.path} cannot be written ({error}): nothing of it was kept") from error
            raise
        work.settle()
        self._seen.update(work.heads)

    def _roll_back(self, connection: sqlite3.Connection) -> None:
        try:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
        except sqlite3.Error:
            connection.close()
            self._writer = None
            self._cache = None

    @contextmanager
    def reading(self) -> Iterator[SqliteReader]:
        """A consistent look, on a read-only connection of this thread."""
        connection = getattr(self._local, "connection", None)
        try:
            if connection is None:
                connection = self._local.connection = _open(self.path, read_only=True)
                self._readers.append(connection)
            nested = connection.in_transaction
            if not nested:
                connection.execute("BEGIN")
            try:
                yield SqliteReader(connection, self.practice)
            finally:
                if not nested:
                    connection.execute("ROLLBACK")
        except sqlite3.DatabaseError as error:
            raise LedgerError(f"{self.path} cannot be read ({error}): restore it from a backup") from error

    def close(self) -> None:
        """Close every connection, of all threads; the last one leaves a single file behind, with no log beside it."""
        for connection in (*self._readers, self._writer):
            if connection is not None:
                connection.close()
        self._readers, self._writer, self._cache = [], None, None
        self._local = threading.local()
