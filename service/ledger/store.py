"""What a ledger promises, whichever store keeps it.

**Durable.** When `Batch` ends without an error its facts, the tables read from them, the answers and the hands are on
disk together: a crash a moment later keeps all of it. When it ends with an error nothing of it is kept. Nobody is told
`go` before that.

**Order.** Each site has one chain. `seq` counts from 1 without a hole, and is the order of commits. Facts of one batch
come in the order they were noted.

**Once.** An answer is kept under its scan's id in the same transaction as its facts. The same id again finds it.

**Readers** see whole batches or nothing of them, never block the writer, and cannot write.

**Failure.** A part that is refused or fails takes back its own changes and no other part's. A store that cannot write
(disk full, file read-only, locked for longer than the limit) raises `LedgerUnavailable`; the batch is gone, the file is
as it was, and the next batch may succeed. A file that is not a ledger, or one of a newer version, is refused unread.
"""

from collections.abc import Iterator
from contextlib import AbstractContextManager
from typing import Any, Protocol

from service.custody.chain import Source, State
from service.custody.facts import Fact
from service.custody.records import Case, Load, Recall


class LedgerError(Exception):
    """The ledger cannot be used: one line that says what, where, and what to do."""


class LedgerUnavailable(LedgerError):  # noqa: N818  (it is a state of the ledger, and said so)
    """The ledger cannot be written just now; nothing of the batch was kept."""


class Part(Protocol):
    """One scan's share of a batch: kept whole, or not at all."""

    state: State
    noted: list[Fact]

    def note(self, facts: list[Fact]) -> list[Fact]:
        """Seal `facts`, fold them into `state`, and return them as they will stand in the ledger."""
        ...


class Batch(Protocol):
    """One transaction of the one writer."""

    def part(self) -> AbstractContextManager[Part]:
        """A part: leaving the block keeps it, an exception takes it back and passes on."""
        ...

    def answer(self, scan: str) -> str | None: ...
    def keep_answer(self, scan: str, body: str) -> None: ...
    def hand(self, station: str) -> str | None: ...
    def hands(self) -> dict[str, str]: ...
    def keep_hand(self, station: str, body: str) -> None: ...
    def keep_name(self, code: str, kind: str, name: str, detail: str | None) -> None: ...
    def keep_log(self, sha256: str, load: str, programme: str, body: bytes) -> None: ...


class Reader(Source, Protocol):
    """A consistent look at the ledger."""

    @property
    def state(self) -> State: ...
    def sites(self) -> list[str]: ...
    def facts(self, site: str, after: int = 0) -> Iterator[Fact]: ...
    def facts_between(self, start: str, end: str) -> Iterator[Fact]: ...
    def facts_about(self, column: str, code: str) -> list[Fact]: ...
    def loads(self, limit: int, kind: str | None = None) -> list[Load]: ...
    def recalls(self) -> list[Recall]: ...
    def cases_of(self, patient: str) -> list[Case]: ...
    def name(self, code: str) -> str | None: ...
    def names(self, kind: str | None = None) -> list[tuple[str, str, str, str | None]]: ...
    def log(self, load: str) -> tuple[str, str, bytes] | None: ...
    def hand(self, station: str) -> str | None: ...
    def rows(self, kind: str) -> Iterator[tuple[Any, ...]]: ...
    def count(self) -> int: ...


class Ledger(Protocol):
    """A ledger that is open. `batch` is for the one writer; `reading` is for anyone."""

    def batch(self, noted_at_ms: int) -> AbstractContextManager[Batch]: ...
    def reading(self) -> AbstractContextManager[Reader]: ...
    def close(self) -> None: ...
