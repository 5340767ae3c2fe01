"""The outbox: scans on disk from the moment they are read until the service has answered them."""

import json
import os
import sqlite3
import time
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any


class OutboxError(Exception):
    """An outbox file that cannot be used."""


def uuid7(unix_ms: int, rand: bytes) -> str:
    """The UUID version 7 (RFC 9562) of a time in milliseconds since 1970 and ten random bytes."""
    value = unix_ms << 80 | int.from_bytes(rand, "big")
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return str(uuid.UUID(int=value))


def new_id() -> str:
    return uuid7(time.time_ns() // 1_000_000, os.urandom(10))


@dataclass(frozen=True, slots=True)
class Waiting:
    """A scan that the service has not answered yet."""

    number: int
    scan: dict[str, Any]


class Outbox:
    """Scans in the order they were read, in one small file; each is durable before it is sent."""

    def __init__(self, path: Path) -> None:
        try:
            self._db = sqlite3.connect(path, isolation_level=None)
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.execute(
                "CREATE TABLE IF NOT EXISTS waiting (number INTEGER PRIMARY KEY AUTOINCREMENT, scan TEXT NOT NULL)"
            )
            self._db.execute(
                "CREATE TABLE IF NOT EXISTS refused (number INTEGER PRIMARY KEY, scan TEXT NOT NULL, why TEXT NOT NULL)"
            )
        except sqlite3.Error as error:
            raise OutboxError(f"the outbox {path} cannot be used ({error}): check the file and the disk") from error
        self._path = path

    def put(self, scan: dict[str, Any]) -> Waiting:
        """Keep a scan. It is on disk when this returns. Raises OutboxError when it cannot be kept."""
        try:
            made = self._db.execute("INSERT INTO waiting (scan) VALUES (?)", (json.dumps(scan),))
        except sqlite3.Error as error:
            raise OutboxError(f"the outbox {self._path} cannot be written ({error}): make room on the disk") from error
        return Waiting(int(made.lastrowid or 0), scan)

    def waiting(self) -> list[Waiting]:
        rows = self._db.execute("SELECT number, scan FROM waiting ORDER BY number").fetchall()
        return [Waiting(number, json.loads(scan)) for number, scan in rows]

    def done(self, one: Waiting) -> None:
        """The service has answered this scan."""
        self._db.execute("DELETE FROM waiting WHERE number = ?", (one.number,))

    def set_aside(self, one: Waiting, why: str) -> None:
        """The service can never take this scan: keep it apart, with the reason, so that it blocks no other."""
        self._db.execute("BEGIN")
        self._db.execute("INSERT OR REPLACE INTO refused VALUES (?, ?, ?)", (one.number, json.dumps(one.scan), why))
        self._db.execute("DELETE FROM waiting WHERE number = ?", (one.number,))
        self._db.execute("COMMIT")

    def refused(self) -> list[tuple[dict[str, Any], str]]:
        return [
            (json.loads(scan), why) for scan, why in self._db.execute("SELECT scan, why FROM refused ORDER BY number")
        ]

    def close(self) -> None:
        self._db.close()
