"""The ledger in a PostgreSQL database, for one site or a group: one partition of facts and one writer a site.

Replication, failover and partitioning are the server's own; `docs/scaling.md` says how to set them up.
"""

import threading
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

import psycopg
from psycopg import conninfo, errors, sql
from psycopg_pool import ConnectionPool, PoolTimeout

from service.custody.practice import Practice
from service.ledger.batch import Batch, Cache
from service.ledger.migrations import VERSION, check_finished, check_version, script, steps
from service.ledger.reading import SqlReader
from service.ledger.store import LedgerBusy, LedgerError, LedgerUnavailable
from service.ledger.tables import DELETE, DROP, FORGET, INSERT_FACT, KEEP, SAY, UNSAY, UPSERT, fact_row
from service.ledger.verify import Verdict, verify

STATEMENT_TIMEOUT_MS = 10_000
"""No statement may keep the ledger longer. A commit that waits for a standby is not bound by it: see `_commit`."""
CONNECT_TIMEOUT_S = 5
_LOCK = 0x464D4B31  # "FMK1": the class of our advisory locks
_BUSY = (errors.DeadlockDetected, errors.SerializationFailure)
_STREAMED = 2000
Connection = psycopg.Connection[tuple[Any, ...]]


@cache
def _spoken(statement: str) -> str:
    """A statement as psycopg takes it."""
    return statement.replace("%", "%%").replace("?", "%s")


def place_of(url: str) -> str:
    """`url` as a person may read it: server and database, never a password. Raises LedgerError when it is none."""
    try:
        told = conninfo.conninfo_to_dict(url)
    except psycopg.ProgrammingError as error:
        raise LedgerError(
            f"this is not a PostgreSQL address ({_line(error)}): postgresql://USER@HOST/DATABASE"
        ) from error
    hosts, ports = (str(told.get(key) or "").split(",") for key in ("host", "port"))
    servers = [
        f"{host}:{port}" if port else host for host, port in zip(hosts, (ports * len(hosts))[: len(hosts)], strict=True)
    ]
    return f"postgresql://{','.join(servers)}/{told.get('dbname', '')}"


def _line(error: Exception) -> str:
    """The first line of a server's message."""
    return (str(error).strip().splitlines() or [type(error).__name__])[0].strip()


def connect(url: str, *, timeout_ms: int = STATEMENT_TIMEOUT_MS) -> Connection:
    """A connection in autocommit. Raises LedgerError with what the server said."""
    place = place_of(url)
    try:
        connection = psycopg.connect(
            url, autocommit=True, connect_timeout=CONNECT_TIMEOUT_S, application_name="foldmark"
        )
        connection.execute(sql.SQL("SET statement_timeout = {}").format(timeout_ms))
        connection.execute("SET client_min_messages = error")
    except psycopg.Error as error:
        raise LedgerUnavailable(
            f"{place} cannot be reached ({_line(error)}): check the address, the password and the server"
        ) from error
    return connection


def create(url: str) -> None:
    """Make the tables of a ledger in an empty database; leave a ledger that is there as it is."""
    with connect(url) as connection:
        if _version(connection) is not None:
            return
        try:
            with connection.transaction():
                connection.execute(script("postgres"))
                connection.execute("INSERT INTO about VALUES ('version', %s)", [str(VERSION)])
        except psycopg.Error as error:
            raise LedgerError(
                f"no ledger can be made at {place_of(url)} ({_line(error)}): name an empty database that you may change"
            ) from error


def follow(url: str, sites: tuple[str, ...]) -> None:
    """Make an empty ledger with room for these sites, which replication will fill. Raises LedgerError."""
    create(url)
    with connect(url) as connection:
        for site in sites:
            _open_partition(connection, site)


def _version(connection: Connection) -> int | None:
    found = connection.execute("SELECT to_regclass('about') IS NOT NULL AND to_regclass('fact') IS NOT NULL").fetchone()
    if not found or not found[0]:
        return None
    row = connection.execute("SELECT value FROM about WHERE key = 'version'").fetchone()
    return int(row[0]) if row else None


def version_of(url: str) -> int:
    """The version of the ledger at `url`. Raises LedgerError when there is none."""
    with connect(url) as connection:
        version = _version(connection)
    if version is None:
        place = place_of(url)
        raise LedgerError(f"there is no ledger at {place}: make one with  foldmark --ledger {place} init")
    return version


class PostgresReader(SqlReader):
    """A look at the database."""

    CASE = "(data::json ->> 'case')"
    MACHINE = "(data::json ->> 'machine')"
    SHELF = "(data::json ->> 'shelf')"
    ERRORS: tuple[type[Exception], ...] = (psycopg.Error,)

    def _all(self, statement: str, *values: Any) -> list[tuple[Any, ...]]:
        return self._connection.execute(_spoken(statement), values).fetchall()  # type: ignore[no-any-return]

    def _stream(self, statement: str, *values: Any) -> Iterator[tuple[Any, ...]]:
        with self._connection.cursor(name=f"s{uuid.uuid4().hex}") as cursor:
            cursor.itersize = _STREAMED
            cursor.execute(_spoken(statement), values)
            yield from cursor

    def _among(self, values: list[str]) -> str:
        del values
        return "= ANY(?)"  # one statement however many there are, so that it is prepared once

    def _told(self, values: list[str]) -> list[Any]:
        return [values]

    def damage(self) -> str | None:
        """Pages and indexes are the server's to check (data checksums, amcheck); the facts are checked by us."""
        return None


class PostgresLedger:
    """An open ledger in a database. Raises LedgerError when it is not there, of another version, or half a copy."""

    def __init__(self, url: str, practice: Practice, *, unfinished: bool = False) -> None:
        self.place = place_of(url)
        check_version(version_of(url), self.place)
        self.practice = practice
        self._url = url
        self._holder = uuid.uuid4().hex
        self._local = threading.local()
        self._pool = ConnectionPool(
            url,
            min_size=1,
            max_size=8,
            open=True,
            timeout=CONNECT_TIMEOUT_S,
            reconnect_timeout=30,
            check=ConnectionPool.check_connection,
            kwargs={"autocommit": True, "application_name": "foldmark", "connect_timeout": CONNECT_TIMEOUT_S},
            configure=_set_up_reader,
        )
        self._writer: Connection | None = None
        self._cache: Cache | None = None
        with self.reading() as reader:
            check_finished(reader.about("copying"), self.place, unfinished=unfinished)

    def _writing(self) -> tuple[Connection, Cache]:
        if self._writer is None or self._cache is None or self._writer.closed:
            self._writer = connect(self._url)
            self._cache = Cache(_WriterReader(self._writer, self.practice))
        return self._writer, self._cache

    @contextmanager
    def batch(self, noted_at_ms: int) -> Iterator[Batch]:
        """One transaction. Only the one writer may call it, from one thread; other services of the site take turns."""
        try:
            connection, cache = self._writing()
            self._begin(connection, cache)
        except psycopg.Error as error:
            self._drop()
            raise self._unavailable(error) from error
        try:
            work = Batch(cache, noted_at_ms)
            yield work
            self._write(connection, work)
            _commit(connection)
        except BaseException as error:
            self._roll_back(connection)
            if isinstance(error, psycopg.Error):
                raise self._unavailable(error) from error
            raise
        work.settle()

    def _begin(self, connection: Connection, cache: Cache) -> None:
        """Begin, and take the site's turn. Whoever wrote last is named in `writing`: if not we, the cache is old."""
        site = self.practice.site
        with connection.pipeline():
            connection.execute("BEGIN")
            connection.execute("SELECT pg_advisory_xact_lock(%s, hashtext(%s))", [_LOCK, site])
            last = connection.execute("SELECT holder FROM writing WHERE site = %s", [site])
        row = last.fetchone()
        if row is None or row[0] != self._holder:
            cache.forget()
            connection.execute(
                "INSERT INTO writing VALUES (%s, %s) ON CONFLICT (site) DO UPDATE SET holder = excluded.holder",
                [site, self._holder],
            )

    def _write(self, connection: Connection, work: Batch) -> None:
        """Put everything of a batch into the open transaction, in one exchange with the server."""
        if work.facts and work.facts[0].seq == 1:
            _open_partition(connection, work.site)
        with connection.pipeline(), connection.cursor() as cursor:
            if work.facts:
                cursor.executemany(_spoken(INSERT_FACT), [fact_row(fact) for fact in work.facts])
            for kind, rows in work.rows().items():
                cursor.executemany(_spoken(UPSERT[kind]), rows)
            for kind, code in work.removed():
                cursor.execute(_spoken(DELETE[kind]), [work.site, code])
            for code in work.forgotten:
                cursor.execute(_spoken(FORGET), [work.site, code])
            for dropped in work.dropped:
                cursor.execute(_spoken(DROP), [work.site, *dropped])
            for key, value in work.about.items():
                cursor.execute(_spoken(UNSAY if value is None else SAY), (key,) if value is None else (key, value))
            for table, kept in work.beside.items():
                cursor.executemany(_spoken(KEEP[table]), [(work.site, *row) for row in kept.values()])
            if work.found:
                # An answer found may be one whose commit never heard from the standby. Writing it again makes this
                # commit wait for the standby too, so that nobody is told what only one server knows.
                cursor.execute(
                    "UPDATE answer SET body = body WHERE site = %s AND scan = ANY(%s)", [work.site, work.found]
                )

    def _unavailable(self, error: psycopg.Error) -> LedgerUnavailable:
        kind = LedgerBusy if isinstance(error, _BUSY) else LedgerUnavailable
        return kind(f"{self.place} cannot be written ({_line(error)}): nothing of it is acknowledged; check the server")

    def _roll_back(self, connection: Connection) -> None:
        try:
            connection.execute("ROLLBACK")
        except psycopg.Error:
            self._drop()

    def _drop(self) -> None:
        if self._writer is not None:
            self._writer.close()
        self._writer = self._cache = None

    @contextmanager
    def reading(self) -> Iterator[PostgresReader]:
        """A consistent look: a read-only transaction at one moment, on a connection of the pool."""
        held = getattr(self._local, "connection", None)
        if held is not None:
            yield PostgresReader(held, self.practice)
            return
        try:
            with self._pool.connection() as connection:
                connection.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
                self._local.connection = connection
                try:
                    yield PostgresReader(connection, self.practice)
                finally:
                    self._local.connection = None
                    if not connection.closed:
                        connection.execute("ROLLBACK")
        except (psycopg.Error, PoolTimeout) as error:
            raise LedgerUnavailable(f"{self.place} cannot be read ({_line(error)}): check the server") from error

    def close(self) -> None:
        self._drop()
        self._pool.close()


class _WriterReader(PostgresReader):
    """The writer's own look: read committed, under the site's lock; small answers, no server-side cursor."""

    def _stream(self, statement: str, *values: Any) -> Iterator[tuple[Any, ...]]:
        return iter(self._all(statement, *values))


def _set_up_reader(connection: Connection) -> None:
    connection.execute(sql.SQL("SET statement_timeout = {}").format(STATEMENT_TIMEOUT_MS * 6))


def _open_partition(connection: Connection, site: str) -> None:
    """The site's own partition of the facts."""
    name = sql.Identifier(f"fact_{site.lower()}")
    connection.execute(
        sql.SQL("CREATE TABLE IF NOT EXISTS {} PARTITION OF fact FOR VALUES IN ({})").format(name, sql.Literal(site))
    )
    connection.execute(
        sql.SQL("CREATE OR REPLACE TRIGGER fact_is_not_emptied BEFORE TRUNCATE ON {} "
                "FOR EACH STATEMENT EXECUTE FUNCTION fact_is_kept()").format(name)
    )  # fmt: skip


def _commit(connection: Connection) -> None:
    """Commit without a time limit.

    A commit waits for the synchronous standby. A timeout would not take it back: the server would answer that it is
    done, with a warning that only the primary has it, and a scan would be acknowledged that a failover loses.
    """
    with connection.pipeline():
        connection.execute("SET LOCAL statement_timeout = 0")
        connection.execute("COMMIT")


def migrate(url: str, practice: Practice) -> tuple[int, Verdict]:
    """Bring a database of an older version forward, in one transaction; see `service.ledger.moving.migrate`."""
    place, version = place_of(url), version_of(url)
    if version > VERSION:
        check_version(version, place)
    with connect(url, timeout_ms=0) as connection:
        try:
            with connection.transaction():
                for number, statements in steps("postgres", version):
                    for statement in statements:
                        connection.execute(statement)
                    connection.execute("UPDATE about SET value = %s WHERE key = 'version'", [str(number)])
                found = verify(PostgresReader(connection, practice))
                if found.fault:
                    raise LedgerError(f"{place} would not verify after the change ({found.fault}): it is as it was")
        except psycopg.Error as error:
            raise LedgerError(f"{place} cannot be brought forward ({_line(error)}): it is as it was") from error
    return version, found
