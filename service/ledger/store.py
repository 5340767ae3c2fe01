"""What a ledger promises, whichever store keeps it: SQLite, PostgreSQL or memory.

**Durable.** When a batch ends without an error its facts, the tables read from them, the answers, the hands and
whatever stands beside them are kept together: on disk with SQLite; on disk, and on every synchronous standby, with
PostgreSQL; in memory nothing outlives the process, and no service is run on it. A crash a moment later keeps all of it.
When a batch ends with an error nothing of it is kept, unless the store went away while it said so: then the same scan
sent again is answered from what was kept, or written once. Nobody is told `go` before a batch has ended well.

**Order.** Each site has one chain. `seq` counts from 1 without a hole, and is the order of commits. Facts of one batch
come in the order they were noted. Two services that write one site take turns; neither forks the chain.

**Once.** An answer is kept under its scan's id in the same transaction as its facts. The same id again finds it; an
answer found is as durable as one made.

**Readers** see whole batches or nothing of them, keep their moment until they are done, never block the writer, and
cannot write. A look is bound to one site; `of` gives the same moment of another.

**Append-only.** The store itself refuses to change or delete a fact.

**Failure.** A part that is refused or fails takes back its own changes and no other part's. A store that cannot write
(disk full, file read-only, server away, locked for longer than the limit) raises `LedgerUnavailable`; nothing of the
batch stands, and the next batch may succeed. `LedgerBusy` is the case of another transaction in the way (a deadlock, a
serialization failure): the same batch may be sent again at once. What is not a ledger, is one of another version, or a
copy that was not finished, is refused unread, with what to do.

`tests/service/ledger/contract.py` holds every store to this.
"""

from collections.abc import Iterator
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any, Protocol

from service.custody.chain import Source, State
from service.custody.facts import Fact
from service.custody.practice import Practice
from service.custody.records import Case, Load, Pack, Recall, Record

if TYPE_CHECKING:
    from service.ledger.batch import Batch


class LedgerError(Exception):
    """The ledger cannot be used: one line that says what, where, and what to do."""


class LedgerUnavailable(LedgerError):  # noqa: N818  (it is a state of the ledger, and said so)
    """The ledger cannot be written just now; nothing of the batch was kept."""


class LedgerBusy(LedgerUnavailable):
    """Another transaction was in the way, and this one was taken back: send it again."""


class Reader(Source, Protocol):
    """A consistent look at one site of the ledger."""

    site: str
    ERRORS: tuple[type[Exception], ...]
    """What the store raises when what it keeps cannot be read."""

    @property
    def state(self) -> State: ...
    def of(self, site: str) -> "Reader":
        """The same moment, seen from another site."""
        ...

    def sites(self) -> list[str]:
        """Every site with facts."""
        ...

    def head(self) -> tuple[int, str]:
        """The number and hash of the site's last fact; 0 and 64 zeros before the first."""
        ...

    def facts(self, after: int = 0, until: int | None = None) -> Iterator[Fact]:
        """The site's facts in order, those numbered above `after` and up to `until`."""
        ...

    def keys(self) -> list[Fact]:
        """The facts that name the site's signing keys, in order."""
        ...

    def hashes(self, after: int = 0, until: int | None = None) -> Iterator[bytes]:
        """Their hashes, 32 bytes each: the leaves of the site's tree."""
        ...

    def many(self, kind: str, codes: list[str]) -> list[Record]:
        """The records there are of these, in one question."""
        ...

    def loads(self, limit: int, kind: str | None = None) -> list[Load]: ...
    def latest(self, machine: str, limit: int) -> list[Load]:
        """The loads of a machine that were started last, in the order they were."""
        ...

    def unsettled(self) -> list[Load]:
        """The loads that are not `settled`, in the order they last changed."""
        ...

    def open_cases(self) -> list[Case]:
        """The cases nobody has closed, in the order they last changed."""
        ...

    def overridden(self) -> list[Pack]:
        """The packs that a surgeon's override ever spoke of, in the order they last changed."""
        ...

    def between(self, kind: str, since: str, until: str, limit: int) -> list[Record]:
        """The packs opened, loads begun or cases opened from `since` up to `until`, the earliest first."""
        ...

    def at_station(self, station: str, since: str, until: str) -> list[Fact]:
        """What happened at a station from `since` up to `until`, in the order it happened."""
        ...

    def recalls(self) -> list[Recall]: ...
    def cases_of(self, patient: str) -> list[Case]:
        """A patient's cases, the earliest first."""
        ...

    def codes_of(self, patient: str) -> list[str]:
        """The provisional codes of animals that were identified as this one."""
        ...

    def name(self, code: str) -> str | None: ...
    def named(self, code: str) -> tuple[str, str | None] | None:
        """The name kept beside a code, and what is kept with it."""
        ...

    def names(self, kind: str | None = None) -> list[tuple[str, str, str, str | None]]: ...
    def log(self, load: str) -> tuple[str, str, bytes] | None: ...
    def load_of_log(self, sha256: str) -> str | None:
        """The load that a log with this hash was kept for."""
        ...

    def photo(self, load: str, sha256: str) -> tuple[str, bytes] | None:
        """A photo kept with a load: its media type and its bytes as they came."""
        ...

    def access(self, kind: str, key: str) -> str | None:
        """What is kept of who may come in: a PIN, a session, a device …"""
        ...

    def accesses(self, kind: str) -> list[tuple[str, str]]:
        """All of a kind, by key: (key, body)."""
        ...

    def hand(self, station: str) -> str | None: ...
    def hands(self) -> dict[str, str]: ...
    def answers(self, scans: list[str]) -> dict[str, str]:
        """The answers kept for these scans, by their ids."""
        ...

    def rows(self, kind: str) -> Iterator[tuple[Any, ...]]:
        """The site's rows of a table read from the facts, in the order of its code."""
        ...

    def kept(self, table: str) -> Iterator[tuple[Any, ...]]:
        """The site's rows of a table beside the facts, in the order of its key, without the site."""
        ...

    def damage(self) -> str | None:
        """What the store itself finds wrong with what it keeps, with the fact it concerns; None when nothing."""
        ...


class Ledger(Protocol):
    """A ledger that is open, for one site. `batch` is for the one writer; `reading` is for anyone."""

    practice: Practice

    @property
    def place(self) -> str:
        """Where it is, fit for a person to read: never with a password."""
        ...

    def batch(self, noted_at_ms: int) -> "AbstractContextManager[Batch]": ...
    def reading(self) -> AbstractContextManager[Reader]: ...
    def close(self) -> None: ...
