"""The one writer: scans queue to it, it decides each in order, commits once, then answers all."""

import logging
import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import orjson

from service.custody.facts import Fact
from service.ledger.batch import Batch, Part
from service.ledger.store import Ledger, LedgerBusy, LedgerError, LedgerUnavailable
from service.stations.late import late_stops

log = logging.getLogger("foldmark")
Clock = Callable[[], datetime]
MOST_AT_ONCE = 256
"""How many scans one commit may carry: enough for every station of a group, few enough to answer within 60 ms."""


@dataclass(slots=True)
class Done:
    """What a piece of work left behind once it is durable."""

    body: dict[str, Any]
    station: str = ""
    noted: list[Fact] = field(default_factory=list)
    late: dict[str, dict[str, Any]] = field(default_factory=dict)
    printed: bool = False
    """Whether the labels that it says were printed are there already."""


Work = Callable[[Batch, Part], Done]


@dataclass(slots=True)
class _Waiting:
    id: str
    work: Work
    future: "Future[dict[str, Any]]"
    code: str
    """What was scanned, where that is known."""
    keeps: bool
    """Whether its answer is kept, so that the same id gets it again."""


def utc_now() -> datetime:
    return datetime.now(UTC)


class Writer:
    """A thread that owns the ledger's writing side. `told` hears of every piece of work after its commit."""

    measured: Callable[[float, int], None] | None = None
    """Hears of every commit: the seconds it took and how many scans it carried."""

    def __init__(self, ledger: Ledger, clock: Clock = utc_now, told: Callable[[Done], None] | None = None) -> None:
        self._ledger = ledger
        self._clock = clock
        self._told = told or (lambda _done: None)
        self._queue: queue.SimpleQueue[_Waiting | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self._closed = False

    def start(self) -> None:
        self._thread.start()

    def submit(self, scan_id: str, work: Work, code: str = "", *, keeps: bool = True) -> "Future[dict[str, Any]]":
        """Queue a piece of work. The future holds its answer once that is durable; the same id gets the same answer.

        The future raises what the work raised, or LedgerUnavailable when nothing could be written.
        """
        future: Future[dict[str, Any]] = Future()
        if self._closed:
            future.set_exception(LedgerUnavailable("the service is stopping: send it again"))
        else:
            self._queue.put(_Waiting(scan_id, work, future, code, keeps))
        return future

    @property
    def waiting(self) -> int:
        return self._queue.qsize()

    def close(self) -> None:
        """Answer what is queued, then stop."""
        self._closed = True
        self._queue.put(None)
        self._thread.join(timeout=30)

    def _run(self) -> None:
        while True:
            first = self._queue.get()
            if first is None:
                return
            taken = [first]
            while len(taken) < MOST_AT_ONCE:
                try:
                    more = self._queue.get_nowait()
                except queue.Empty:
                    break
                if more is None:
                    self._commit(taken)
                    return
                taken.append(more)
            self._commit(taken)

    def _commit(self, taken: list[_Waiting], tries: int = 3) -> None:
        answered: list[tuple[_Waiting, Done | Exception]] = []
        began = time.perf_counter()
        try:
            with self._ledger.batch(int(self._clock().timestamp() * 1000)) as batch:
                before = batch.answers([one.id for one in taken])
                batch.expect([one.code for one in taken if one.code])
                answered = [(one, self._answer(batch, one, before)) for one in taken]
        except LedgerBusy as error:
            if tries > 1:
                self._commit(taken, tries - 1)
                return
            _refuse(taken, error)
            return
        except Exception as error:  # noqa: BLE001  (whatever the store raised, every waiting station must hear of it)
            if len(taken) > 1 and not isinstance(error, LedgerUnavailable):
                # One of them cannot be written at all: each goes alone, so that it holds up no other.
                for one in taken:
                    self._commit([one])
                return
            _refuse(taken, error)
            time.sleep(0.01)
            return
        if self.measured:
            self.measured(time.perf_counter() - began, len(taken))
        for one, outcome in answered:
            if isinstance(outcome, Done):
                if outcome.noted or outcome.station:
                    self._tell(outcome)
                one.future.set_result(outcome.body)
            else:
                one.future.set_exception(outcome)

    def _tell(self, done: Done) -> None:
        """Pass on what is durable. Whatever goes wrong with a screen or a printer, the writer goes on."""
        try:
            self._told(done)
        except Exception:
            log.exception("a listener failed")

    def _answer(self, batch: Batch, one: _Waiting, before: dict[str, str]) -> Done | Exception:
        if one.id in before:
            return Done(orjson.loads(before[one.id]))
        try:
            with batch.part() as part:
                done = one.work(batch, part)
                done.late = late_stops(batch, part, done.noted, done.station)
        except Exception as error:  # noqa: BLE001  (an error takes back its own part; the others go on)
            return error
        if not one.keeps:
            return done
        before[one.id] = orjson.dumps(done.body).decode()
        batch.keep_answer(one.id, before[one.id])
        return done


def _refuse(taken: list[_Waiting], error: Exception) -> None:
    if not isinstance(error, LedgerError):
        log.error("batch failed", exc_info=error)
    elif any(one.keeps for one in taken):
        log.warning("batch not kept", extra={"told": {"scans": len(taken), "error": str(error)}})
    for one in taken:
        one.future.set_exception(error)
