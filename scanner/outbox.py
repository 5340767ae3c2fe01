"""The outbox: scans on disk from the moment they are read until the service has answered them."""

import fcntl
import json
import os
import sqlite3
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

MOST = 10_000
"""Scans that an outbox keeps: days of a busy practice's, in a few megabytes."""
NEARLY = 0.8
"""The share of MOST from which every scan is told that the outbox fills."""
_TABLES = (
    "waiting (number INTEGER PRIMARY KEY AUTOINCREMENT, scan TEXT NOT NULL)",
    "refused (number INTEGER PRIMARY KEY, scan TEXT NOT NULL, why TEXT NOT NULL)",
    "late (number INTEGER PRIMARY KEY, scan TEXT NOT NULL, answer TEXT NOT NULL)",
)

_HELD = "SELECT (SELECT count(*) FROM waiting) + (SELECT count(*) FROM refused) + (SELECT count(*) FROM late)"


class OutboxError(Exception):
    """An outbox file that cannot be used, or has no room."""


def uuid7(unix_ms: int, rand: bytes) -> str:
    """The UUID version 7 (RFC 9562) of a time in milliseconds since 1970 and ten random bytes."""
    value = unix_ms << 80 | int.from_bytes(rand, "big")
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return str(uuid.UUID(int=value))


def new_id() -> str:
    return uuid7(time.time_ns() // 1_000_000, os.urandom(10))


def claim(path: Path) -> TextIO:
    """The outbox at `path` for this process alone, while what is returned stays open. Raises OutboxError."""
    try:
        lock = path.with_name(f"{path.name}.lock").open("a")
    except OSError as error:
        raise OutboxError(f"the outbox {path} cannot be used ({error.strerror}): check the folder") from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        lock.close()
        raise OutboxError(f"another scanner uses the outbox {path}: stop it, or name another with --outbox") from error
    return lock


@dataclass(frozen=True, slots=True)
class Waiting:
    """A scan that the service has not answered yet."""

    number: int
    scan: dict[str, Any]
    kept: dict[str, Any] | None = None
    """What this computer's clocks said when it was kept, where that was noted."""


class Outbox:
    """Scans in the order they were read, in one small file; each is durable before it is sent.

    Beside those that wait it keeps what nobody was told yet: scans that the service could not take, and answers other
    than go that came late. All of them together are at most `most`.
    """

    def __init__(self, path: Path, most: int = MOST) -> None:
        self._path, self.most = path, most
        try:
            self._db = sqlite3.connect(path, isolation_level=None)
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            for table in _TABLES:
                self._db.execute(f"CREATE TABLE IF NOT EXISTS {table}")
            if "kept" not in {row[1] for row in self._db.execute("PRAGMA table_info(waiting)")}:
                self._db.execute("ALTER TABLE waiting ADD COLUMN kept TEXT")
        except sqlite3.Error as error:
            raise OutboxError(f"the outbox {path} cannot be used ({error}): check the file and the disk") from error

    @contextmanager
    def _written(self) -> Iterator[sqlite3.Connection]:
        """One transaction. Raises OutboxError when it cannot be written."""
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield self._db
            self._db.execute("COMMIT")
        except sqlite3.Error as error:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise OutboxError(f"the outbox {self._path} cannot be written ({error}): make room on the disk") from error

    def put(self, scan: dict[str, Any], kept: dict[str, Any] | None = None) -> Waiting:
        """Keep a scan. It is on disk when this returns. Raises OutboxError when it cannot be kept."""
        if self.held() >= self.most:
            raise OutboxError(f"the outbox is full, {self.most} scans wait: bring the service back, then scan again")
        with self._written() as db:
            row = (json.dumps(scan), json.dumps(kept))
            made = db.execute("INSERT INTO waiting (scan, kept) VALUES (?, ?)", row)
        return Waiting(int(made.lastrowid or 0), scan, kept)

    def _rows(self, select: str, *values: Any) -> list[Any]:
        """What is read. Raises OutboxError when it cannot be."""
        try:
            return self._db.execute(select, values).fetchall()
        except sqlite3.Error as error:
            raise OutboxError(f"the outbox {self._path} cannot be read ({error}): check the disk") from error

    def held(self) -> int:
        """How many scans are kept, for whatever reason."""
        return int(self._rows(_HELD)[0][0])

    def waiting(self, most: int = -1) -> list[Waiting]:
        """The scans that wait, in the order they were read; at most so many."""
        rows = self._rows("SELECT number, scan, kept FROM waiting ORDER BY number LIMIT ?", most)
        return [Waiting(number, json.loads(scan), json.loads(kept or "null")) for number, scan, kept in rows]

    def done(self, one: Waiting, late: dict[str, Any] | None = None) -> None:
        """The service has answered this scan. An answer that came late and is to be told of is kept."""
        with self._written() as db:
            db.execute("DELETE FROM waiting WHERE number = ?", (one.number,))
            if late:
                row = (one.number, json.dumps(one.scan), json.dumps(late))
                db.execute("INSERT OR REPLACE INTO late VALUES (?, ?, ?)", row)

    def set_aside(self, one: Waiting, why: str) -> None:
        """The service can never take this scan: keep it apart, with the reason, so that it blocks no other."""
        with self._written() as db:
            db.execute("INSERT OR REPLACE INTO refused VALUES (?, ?, ?)", (one.number, json.dumps(one.scan), why))
            db.execute("DELETE FROM waiting WHERE number = ?", (one.number,))

    def refused(self) -> list[tuple[dict[str, Any], str]]:
        """The scans that the service could not take, with its reasons, until `told`."""
        rows = self._rows("SELECT scan, why FROM refused ORDER BY number")
        return [(json.loads(scan), why) for scan, why in rows]

    def late(self) -> list[tuple[dict[str, Any], dict[str, Any]]]:
        """The scans answered late with anything but go, and the answers, until `told`."""
        rows = self._rows("SELECT scan, answer FROM late ORDER BY number")
        return [(json.loads(scan), json.loads(answer)) for scan, answer in rows]

    def told(self) -> None:
        """A person has been told of all that was refused or answered late."""
        with self._written() as db:
            db.execute("DELETE FROM refused")
            db.execute("DELETE FROM late")

    def close(self) -> None:
        self._db.close()
