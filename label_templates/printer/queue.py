"""The queue on disk: labels kept from before they are sent until the printer has said how it ended.

What is promised: a job is on the disk when `add` returns. That its document begins to be sent is on the disk before the
first byte of it goes, so that after a crash a job either was never sent, or is asked after under its name at the
printer and never sent again by itself. One process works a printer (`claim`); any number may add.
"""

import fcntl
import hashlib
import json
import sqlite3
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Self, TextIO

from label_templates.printer.document import Document, Paper

WAITING, SENDING, PRINTING, STOPPED, PRINTED, UNSURE, FAILED, CANCELLED = (
    "waiting", "sending", "printing", "stopped", "printed", "unsure", "failed", "cancelled",
)  # fmt: skip
OPEN: Final = (WAITING, SENDING, PRINTING, STOPPED)
"""States that `queue go` has something to do about."""
KEPT: Final = 50
"""Documents of ended jobs that are kept, to be printed again as a copy."""
_SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS job (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, printer TEXT NOT NULL, paper TEXT NOT NULL, title TEXT NOT NULL,
    codes TEXT NOT NULL, copies INTEGER NOT NULL, copy_of INTEGER, state TEXT NOT NULL, sent INTEGER NOT NULL DEFAULT 0,
    words TEXT NOT NULL DEFAULT '', added_at TEXT NOT NULL, changed_at TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS document (
    job INTEGER NOT NULL REFERENCES job, marked INTEGER NOT NULL, page INTEGER NOT NULL, data BLOB NOT NULL,
    PRIMARY KEY (job, marked, page)
);
CREATE TABLE IF NOT EXISTS printer (uri TEXT PRIMARY KEY, stock TEXT, certificate TEXT);
"""
"""A document's page 0 is its PDF; `marked` is 1 for the labels that say they are a copy."""
_ADD: Final = (
    "INSERT INTO job (name, printer, paper, title, codes, copies, state, added_at, changed_at) "
    "VALUES (?, ?, ?, ?, ?, ?, 'waiting', ?, ?)"
)
_AGAIN: Final = (
    "INSERT INTO job (name, printer, paper, title, codes, copies, copy_of, state, added_at, changed_at) "
    "SELECT ?, printer, paper, title, codes, copies, ?, 'waiting', ?, ? FROM job WHERE id = ?"
)
_SAME_LABELS: Final = "INSERT INTO document SELECT ?, marked, page, data FROM document WHERE job = ? AND marked >= ?"
_FIELDS: Final = "id, name, printer, paper, title, codes, copies, copy_of, state, sent, words, added_at, changed_at"
_FORGET: Final = (
    "DELETE FROM document WHERE job IN (SELECT id FROM job WHERE state NOT IN ('waiting', 'sending', 'printing', "
    "'stopped', 'unsure') ORDER BY changed_at DESC, id DESC LIMIT -1 OFFSET ?)"
)
_BEGIN: Final = (
    "UPDATE job SET state = 'sending', sent = 1, words = '', changed_at = ? "
    "WHERE id = ? AND sent = 0 AND state IN ('waiting', 'stopped')"
)
_UNSENT: Final = (
    "UPDATE job SET name = ?, state = 'waiting', sent = 0, words = '', changed_at = ? "
    "WHERE id = ? AND state IN ('waiting', 'sending', 'printing', 'stopped')"
)
_TELL: Final = (
    "UPDATE job SET state = ?, words = ?, changed_at = ? "
    "WHERE id = ? AND state IN ('waiting', 'sending', 'printing', 'stopped')"
)
_WITHDRAW: Final = (
    "UPDATE job SET state = 'cancelled', words = 'cancelled before it was sent', changed_at = ? "
    "WHERE id = ? AND sent = 0 AND state IN ('waiting', 'stopped')"
)


class QueueError(Exception):
    """A print queue that cannot be used, or what it does not hold."""


@dataclass(frozen=True, slots=True)
class Job:
    """Labels to print. `name` is theirs at the printer; `sent` says that a part of the document may have gone there."""

    id: int
    name: str
    printer: str
    paper: Paper
    title: str
    codes: tuple[str, ...]
    copies: int
    copy_of: int | None
    state: str
    sent: bool
    words: str
    added_at: str
    changed_at: str

    @property
    def open(self) -> bool:
        return self.state in OPEN


@dataclass(frozen=True, slots=True)
class Order:
    """What `add` keeps: labels for a printer, not yet sent."""

    document: Document
    paper: Paper
    printer: str
    title: str
    codes: Sequence[str]
    copies: int = 1


class Queue:
    """The print queue in the file `path`. Every call raises QueueError when the file cannot be read or written."""

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            self._db = sqlite3.connect(path, isolation_level=None, timeout=10)
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.executescript(_SCHEMA)
        except sqlite3.Error as error:
            raise QueueError(f"the print queue {path} cannot be used ({error}): check the file and the disk") from error

    def close(self) -> None:
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def add(self, order: Order) -> Job:
        """Keep labels to print; they are on the disk when this returns."""
        row = (str(uuid.uuid4()), order.printer, json.dumps(asdict(order.paper)), order.title,
               json.dumps(list(order.codes)), order.copies)  # fmt: skip
        with self._written() as db:
            number = int(db.execute(_ADD, (*row, _now(), _now())).lastrowid or 0)
            for marked, document in ((0, order.document), (1, order.document.copy)):
                if document:
                    parts = enumerate((document.pdf, *document.pages))
                    db.executemany(
                        "INSERT INTO document VALUES (?, ?, ?, ?)", ((number, marked, *part) for part in parts)
                    )
        return self.job(number)

    def again(self, number: int) -> Job:
        """Keep the labels of an ended job to print once more: marked as a copy, unless they never left."""
        old = self.job(number)
        if old.open:
            raise QueueError(f"job {number} has not ended ({old.state}): foldmark label queue go follows it")
        marked = old.sent or old.copy_of is not None
        row = (str(uuid.uuid4()), number if marked else None, _now(), _now(), number)
        with self._written() as db:
            made = int(db.execute(_AGAIN, row).lastrowid or 0)
            if not db.execute(_SAME_LABELS, (made, number, int(marked))).rowcount:
                raise QueueError(f"the labels of job {number} are no longer kept: print them anew")
        return self.job(made)

    def document(self, job: Job) -> Document:
        """What is printed for this job: of a copy, the labels that say so."""
        parts = self._rows(
            "SELECT data FROM document WHERE job = ? AND marked = ? ORDER BY page", job.id, int(job.copy_of is not None)
        )
        if not parts:
            raise QueueError(f"the labels of job {job.id} are no longer kept: print them anew")
        return Document(parts[0][0], tuple(data for (data,) in parts[1:]))

    def job(self, number: int) -> Job:
        rows = self._rows(f"SELECT {_FIELDS} FROM job WHERE id = ?", number)  # noqa: S608  (a constant)
        if not rows:
            raise QueueError(f"no job {number} is in the print queue {self._path}: foldmark label queue lists them")
        return _job(rows[0])

    def jobs(self) -> list[Job]:
        """All of them, in the order they were added."""
        return [_job(row) for row in self._rows(f"SELECT {_FIELDS} FROM job ORDER BY id")]  # noqa: S608

    def begin(self, job: Job) -> bool:
        """Note that its document begins to be sent; False when it is not to be sent after all."""
        with self._written() as db:
            return db.execute(_BEGIN, (_now(), job.id)).rowcount == 1

    def withdraw(self, job: Job) -> bool:
        """Cancel a job that was never sent; False when it was."""
        with self._written() as db:
            return db.execute(_WITHDRAW, (_now(), job.id)).rowcount == 1

    def unsent(self, job: Job) -> None:
        """Note that the printer has nothing of its document: it is sent as if for the first time, under a new name."""
        with self._written() as db:
            db.execute(_UNSENT, (str(uuid.uuid4()), _now(), job.id))

    def tell(self, job: Job, state: str, words: str = "") -> None:
        """Note an open job's state, and why; a job that has ended stays as it is."""
        with self._written() as db:
            db.execute(_TELL, (state, words, _now(), job.id))
            if state not in OPEN:
                db.execute(_FORGET, (KEPT,))

    def last_stock(self, printer: str) -> str | None:
        """The stock this printer printed last."""
        rows = self._rows("SELECT stock FROM printer WHERE uri = ?", printer)
        return str(rows[0][0]) if rows and rows[0][0] else None

    def note_stock(self, printer: str, stock: str) -> None:
        self._note(printer, "stock", stock)

    def certificate(self, printer: str) -> str | None:
        """The certificate this printer showed when it was first used."""
        rows = self._rows("SELECT certificate FROM printer WHERE uri = ?", printer)
        return rows[0][0] if rows else None

    def note_certificate(self, printer: str, certificate: str | None) -> None:
        self._note(printer, "certificate", certificate)

    def _note(self, printer: str, column: str, value: str | None) -> None:
        with self._written() as db:
            db.execute("INSERT INTO printer (uri) VALUES (?) ON CONFLICT (uri) DO NOTHING", (printer,))
            db.execute(f"UPDATE printer SET {column} = ? WHERE uri = ?", (value, printer))  # noqa: S608

    @contextmanager
    def claim(self, printer: str) -> Iterator[bool]:
        """This printer for this process alone, until the end; False when another process works it."""
        mark = hashlib.sha256(printer.encode()).hexdigest()[:8]
        try:
            lock: TextIO = self._path.with_name(f"{self._path.name}.{mark}.lock").open("a")
        except OSError as error:
            raise QueueError(
                f"the print queue {self._path} cannot be used ({error.strerror}): check the folder"
            ) from error
        with lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                yield False
            else:
                yield True

    @contextmanager
    def _written(self) -> Iterator[sqlite3.Connection]:
        """One transaction, durable at its end."""
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield self._db
            self._db.execute("COMMIT")
        except sqlite3.Error as error:
            raise QueueError(
                f"the print queue {self._path} cannot be written ({error}): make room on the disk, then try again"
            ) from error
        finally:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")

    def _rows(self, select: str, *values: Any) -> list[Any]:
        try:
            return self._db.execute(select, values).fetchall()
        except sqlite3.Error as error:
            raise QueueError(f"the print queue {self._path} cannot be read ({error}): check the disk") from error


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _job(row: Sequence[Any]) -> Job:
    number, name, printer, paper, title, codes, copies, copy_of, state, sent, *rest = row
    size = Paper(**json.loads(paper))
    return Job(number, name, printer, size, title, tuple(json.loads(codes)), copies, copy_of, state, bool(sent), *rest)
