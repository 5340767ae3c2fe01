"""The embedded ledger: one SQLite file, one writer, read-only readers."""

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlite_utils

from service.custody.practice import Practice
from service.ledger.batch import Batch, Cache
from service.ledger.migrations import VERSION, check_finished, check_version, script, steps
from service.ledger.reading import SqlReader
from service.ledger.store import LedgerError, LedgerUnavailable
from service.ledger.tables import (
    DELETE,
    DROP,
    FACT_COLUMNS,
    FORGET,
    INSERT_FACT,
    KEEP,
    SAY,
    SELECT_FACT,
    UNSAY,
    UPSERT,
    fact_row,
)
from service.ledger.verify import Verdict, verify

APPLICATION = 0x464D4B31  # "FMK1": how the file says it is a Foldmark ledger


def create(path: Path) -> None:
    """Make a new, empty ledger file. Raises LedgerError when something is there or the folder is not writable."""
    if path.exists():
        raise LedgerError(f"{path} is there already: choose another name, or use that ledger")
    try:
        connection = sqlite_utils.Database(str(path)).conn
        connection.executescript(script("sqlite"))
        connection.execute(f"PRAGMA application_id = {APPLICATION}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.close()
    except sqlite3.Error as error:
        path.unlink(missing_ok=True)
        raise LedgerError(f"{path} cannot be made ({error}): check the folder and the space on the disk") from error


def connect(path: Path, *, read_only: bool) -> sqlite3.Connection:
    mode = "ro" if read_only else "rw"
    uri = f"file:{str(path).replace('?', '%3f').replace('#', '%23')}?mode={mode}"
    connection = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, timeout=10)
    connection.execute("PRAGMA busy_timeout = 10000")
    return connection


def version_of(path: Path) -> int:
    """The version of the ledger at `path`. Raises LedgerError when it is none. Only its first page is read."""
    if not path.exists():
        raise LedgerError(f"there is no ledger at {path}: make one with  foldmark init --ledger {path}")
    if not path.is_file() or not os.access(path, os.R_OK):
        raise LedgerError(f"{path} cannot be read: check what it is and who may read it")
    try:
        connection = connect(path, read_only=True)
        try:
            application = connection.execute("PRAGMA application_id").fetchone()[0]
            version: int = connection.execute("PRAGMA user_version").fetchone()[0]
        finally:
            connection.close()
    except sqlite3.Error as error:
        todo = "restore it from a backup"
        if not os.access(path.parent, os.W_OK):
            todo = f"a ledger needs a folder that its user may write, and {path.parent} is none"
        raise LedgerError(f"{path} cannot be read as a ledger ({error}): {todo}") from error
    if application != APPLICATION:
        raise LedgerError(f"{path} is not a Foldmark ledger: check the path")
    return version


class SqliteReader(SqlReader):
    """A look at the file."""

    CASE = "json_extract(data, '$.case')"
    MACHINE = "json_extract(data, '$.machine')"
    SHELF = "json_extract(data, '$.shelf')"
    ERRORS: tuple[type[Exception], ...] = (sqlite3.DatabaseError,)

    def _all(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        return self._connection.execute(sql, values).fetchall()  # type: ignore[no-any-return]

    def _stream(self, sql: str, *values: Any) -> Iterator[tuple[Any, ...]]:
        return iter(self._connection.execute(sql, values))

    def damage(self) -> str | None:
        """What SQLite itself finds wrong with the file, with the fact where an index no longer finds one."""
        found = self._connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
        if found == "ok":
            return None
        for site, seq in self._strays():
            return f"site {site}: fact {seq} was changed in an index of the file ({found})"
        return f"the file is damaged ({found})"

    def _strays(self) -> Iterator[tuple[str, int]]:
        """The facts, as (site, seq), of which an index of the file says something else than the fact itself."""
        for column in ("id", "pack", "load", "set", "patient", "station"):
            told = self._connection.execute(
                f'SELECT "{column}", site, seq FROM fact INDEXED BY fact_{column} WHERE "{column}" IS NOT NULL'  # noqa: S608 (names are ours)
            )
            for value, site, seq in told:
                fact = self._first(f"{SELECT_FACT} AND seq = ?", site, seq)
                if fact is None or value != fact[FACT_COLUMNS.index(column)]:
                    yield site, seq


_LONGEST_LOOK_S = 10.0
"""How long closing waits for a look in progress: a connection closed under it takes the process down."""


class SqliteLedger:
    """An open ledger file.

    Raises LedgerError when it is missing, foreign, damaged, of another version, or half a copy (unless `unfinished`).
    """

    def __init__(self, path: Path, practice: Practice, *, unfinished: bool = False) -> None:
        check_version(version_of(path), str(path))
        self.path = path
        self.practice = practice
        self._looks = threading.Condition()
        self._looking = 0
        self._local = threading.local()
        self._readers: list[sqlite3.Connection] = []
        self._writer: sqlite3.Connection | None = None
        self._cache: Cache | None = None
        self._seen = -1
        with self.reading() as reader:
            check_finished(reader.about("copying"), self.place, unfinished=unfinished)

    @property
    def place(self) -> str:
        return str(self.path)

    def _writing(self) -> tuple[sqlite3.Connection, Cache]:
        if self._writer is None or self._cache is None:
            self._writer = connect(self.path, read_only=False)
            self._writer.execute("PRAGMA synchronous = FULL")
            self._writer.execute("PRAGMA journal_size_limit = 16777216")  # a long reader's log shrinks again after it
            self._cache = Cache(SqliteReader(self._writer, self.practice))
        return self._writer, self._cache

    @contextmanager
    def batch(self, noted_at_ms: int) -> Iterator[Batch]:
        """One transaction. Only the one writer may call it, from one thread."""
        try:
            connection, cache = self._writing()
            connection.execute("BEGIN IMMEDIATE")
            seen = connection.execute("PRAGMA data_version").fetchone()[0]
        except sqlite3.Error as error:
            raise LedgerUnavailable(
                f"{self.path} cannot be written ({error}): check the disk and who uses it"
            ) from error
        try:
            if seen != self._seen:
                cache.forget()
                self._seen = seen
            work = Batch(cache, noted_at_ms)
            yield work
            _write(connection, work)
            connection.execute("COMMIT")
        except BaseException as error:
            self._roll_back(connection)
            if isinstance(error, sqlite3.Error):
                raise LedgerUnavailable(f"{self.path} cannot be written ({error}): nothing of it was kept") from error
            raise
        work.settle()
        if work.forgotten:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")

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
        with self._looks:
            self._looking += 1
        try:
            connection = getattr(self._local, "connection", None)
            if connection is None:
                connection = self._local.connection = connect(self.path, read_only=True)
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
        finally:
            with self._looks:
                self._looking -= 1
                self._looks.notify_all()

    def close(self) -> None:
        """Close every connection, of all threads; the last one leaves a single file behind, with no log beside it.

        A look in progress is waited for, and left alone when it goes on too long.
        """
        with self._looks:
            quiet = self._looks.wait_for(lambda: self._looking == 0, _LONGEST_LOOK_S)
            for connection in (*(self._readers if quiet else ()), self._writer):
                if connection is not None:
                    connection.close()
            self._readers, self._writer, self._cache = [], None, None
            self._local = threading.local()


def _write(connection: sqlite3.Connection, work: Batch) -> None:
    """Put everything of a batch into the open transaction."""
    connection.executemany(INSERT_FACT, [fact_row(fact) for fact in work.facts])
    for kind, rows in work.rows().items():
        connection.executemany(UPSERT[kind], rows)
    for kind, code in work.removed():
        connection.execute(DELETE[kind], (work.site, code))
    if work.forgotten:
        connection.execute("PRAGMA secure_delete = ON")  # an erased name leaves no bytes in the file
        connection.executemany(FORGET, [(work.site, code) for code in work.forgotten])
    connection.executemany(DROP, [(work.site, *dropped) for dropped in work.dropped])
    for key, value in work.about.items():
        connection.execute(UNSAY if value is None else SAY, (key,) if value is None else (key, value))
    for table, kept in work.beside.items():
        connection.executemany(KEEP[table], [(work.site, *row) for row in kept.values()])


def migrate(path: Path, practice: Practice) -> tuple[int, Verdict]:
    """Bring a ledger of an older version forward, in one transaction that ends only if the ledger still verifies.

    Returns the version it was, and what verify found. Raises LedgerError; then the ledger is as it was.
    """
    version = version_of(path)
    if version > VERSION:
        check_version(version, str(path))
    connection = connect(path, read_only=False)
    try:
        connection.execute("BEGIN IMMEDIATE")
        for number, statements in steps("sqlite", version):
            for statement in statements:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number}")
        found = verify(SqliteReader(connection, practice))
        if found.fault:
            raise LedgerError(f"{path} would not verify after the change ({found.fault}): it is as it was")
        connection.execute("COMMIT")
    except sqlite3.Error as error:
        raise LedgerError(f"{path} cannot be brought forward ({error}): it is as it was") from error
    finally:
        connection.close()  # what was not committed is taken back
    return version, found
