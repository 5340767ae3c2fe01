"""One transaction of the one writer, whichever store keeps it: parts kept or taken back, facts sealed and folded.

A store opens a transaction, makes a Batch over its cache, lets the writer fill it, and puts what the Batch holds into
its tables before it commits.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

from label_templates.codes import LETTERS, is_code
from service.custody.chain import State
from service.custody.facts import Fact, stamp
from service.custody.records import Record
from service.ledger.ids import uuid7
from service.ledger.seal import fault_in, seal
from service.ledger.store import LedgerError, Reader
from service.ledger.tables import BESIDE, row_of

_CACHED = 20_000
Head = tuple[int, str]


class Cache:
    """The writer's look: records and hands met lately are kept, so that a scan seldom asks the store."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        self.fact, self.history, self.everything = reader.fact, reader.history, reader.everything
        self.loads_of, self.packs_of, self.load_of_log = reader.loads_of, reader.packs_of, reader.load_of_log
        self.highest = reader.highest
        self.records: dict[tuple[str, str], Record | None] = {}
        """By kind and code; None: there is none."""
        self.hands: dict[str, str] = {}
        self.head: Head | None = None

    def forget(self) -> None:
        """Another program wrote, or the store went away: what was kept may be old."""
        self.records.clear()
        self.hands.clear()
        self.head = None

    def get(self, kind: str, code: str) -> Record | None:
        key = (kind, code)
        if key not in self.records:
            self.keep(key, self.reader.get(kind, code))
        return self.records[key]

    def expect(self, scanned: list[str]) -> None:
        """Fetch the records of these codes together: each is about to be asked for."""
        told = [code for code in set(scanned) if is_code(code)]
        for kind, letters in (("set", "S"), ("pack", "P"), ("label", "".join(LETTERS))):
            missing = [code for code in told if code[0] in letters and (kind, code) not in self.records]
            if len(missing) > 1:
                found = {record.code: record for record in self.reader.many(kind, missing)}
                for code in missing:
                    self.keep((kind, code), found.get(code))

    def keep(self, key: tuple[str, str], record: Record | None) -> None:
        if len(self.records) >= _CACHED:
            self.records.clear()
        self.records[key] = record

    def hand(self, station: str) -> str | None:
        found = self.hands.get(station)
        if found is None:
            found = self.reader.hand(station)
            if found is not None:
                self.hands[station] = found
        return found


class Part:
    """One scan's share of a batch: kept whole, or not at all."""

    def __init__(self, batch: "Batch") -> None:
        self._batch = batch
        self.state = batch.state.branch()
        self.head = batch.head
        self.noted: list[Fact] = []

    def note(self, facts: list[Fact]) -> list[Fact]:
        """Seal `facts`, fold them into `state`, and return them as they will stand in the ledger."""
        return [self._take(self._sealed(fact)) for fact in facts]

    def adopt(self, facts: list[Fact]) -> None:
        """Take facts that another ledger sealed. Raises LedgerError unless each follows the one before it."""
        for fact in facts:
            seq, prev = self.head
            fault = fault_in(fact, seq + 1, prev)
            if fault:
                raise LedgerError(f"site {fact.site}: {fault}")
            self._take(fact)

    def _sealed(self, fact: Fact) -> Fact:
        seq, prev = self.head
        noted = self._batch
        fact_id = uuid7(noted.noted_at_ms, os.urandom(10))
        return seal(fact, seq=seq + 1, fact_id=fact_id, noted_at=noted.noted_at, prev=prev)

    def _take(self, fact: Fact) -> Fact:
        if fact.site != self._batch.site:
            raise LedgerError(f"a fact of site {fact.site} cannot be written into the chain of {self._batch.site}")
        self.head = (fact.seq, fact.hash)
        self.state.evolve(fact)
        self.noted.append(fact)
        return fact


class Batch:
    """What one transaction will write. The store reads its fields once the writer has filled it."""

    def __init__(self, cache: Cache, noted_at_ms: int) -> None:
        self._cache = cache
        self.site = cache.reader.site
        self.state = State(cache, cache.reader.state.practice)
        self.noted_at_ms = noted_at_ms
        self.noted_at = stamp(datetime.fromtimestamp(noted_at_ms / 1000, UTC))
        self.head = cache.head or cache.reader.head()
        self.facts: list[Fact] = []
        self.beside: dict[str, dict[Any, tuple[Any, ...]]] = {}
        """Rows beside the facts: by table, by key, each in the table's order of columns without the site."""
        self.found: list[str] = []
        """Scans that were answered before."""
        self.forgotten: list[str] = []
        """Codes whose names are to be erased."""
        self.dropped: list[tuple[str, str]] = []
        """What may no longer come in, by kind and key."""
        self.about: dict[str, str | None] = {}
        """What the ledger is to say of itself; None takes it back."""

    @contextmanager
    def part(self) -> Iterator[Part]:
        """A part: leaving the block keeps it, an exception takes it back and passes on."""
        part = Part(self)
        yield part
        part.state.merge()
        self.head = part.head
        self.facts.extend(part.noted)

    def expect(self, codes: list[str]) -> None:
        """Say which codes are about to be scanned, so that they are fetched together."""
        self._cache.expect(codes)

    def answers(self, scans: list[str]) -> dict[str, str]:
        """The answers these scans were given before."""
        found = self._cache.reader.answers(scans)
        self.found.extend(found)
        return found

    def hand(self, station: str) -> str | None:
        mine = self.beside.get("hand", {}).get(station)
        return mine[1] if mine else self._cache.hand(station)

    def hands(self) -> dict[str, str]:
        mine = {station: row[1] for station, row in self.beside.get("hand", {}).items()}
        return self._cache.reader.hands() | mine

    def keep(self, table: str, *row: Any) -> None:
        """Keep a row of a table beside the facts, in its order of columns without the site; a later one replaces it."""
        width = len(BESIDE[table][0]) - 1
        key = row[:width] if width > 1 else row[0]
        self.beside.setdefault(table, {})[key] = row

    def keep_answer(self, scan: str, body: str) -> None:
        self.keep("answer", scan, body)

    def keep_hand(self, station: str, body: str) -> None:
        self.keep("hand", station, body)

    def keep_name(self, code: str, kind: str, name: str, detail: str | None) -> None:
        self.keep("name", code, kind, name, detail)

    def keep_log(self, sha256: str, load: str, programme: str, body: bytes) -> None:
        self.keep("cycle_log", load, sha256, programme, body)

    def keep_photo(self, sha256: str, load: str, media: str, body: bytes) -> None:
        self.keep("photo", load, sha256, media, body)

    def access(self, kind: str, key: str) -> str | None:
        """What is kept of a PIN, a session, a device …, as this batch has it by now."""
        mine = self.beside.get("access", {}).get((kind, key))
        if mine or (kind, key) in self.dropped:
            return mine[2] if mine else None
        return self._cache.reader.access(kind, key)

    def keep_access(self, kind: str, key: str, body: str) -> None:
        self.keep("access", kind, key, body)

    def drop_access(self, kind: str, key: str) -> None:
        self.beside.get("access", {}).pop((kind, key), None)
        self.dropped.append((kind, key))

    def forget_name(self, code: str) -> None:
        """Erase the name that stands beside `code`. The facts, which hold only codes, stay."""
        self.forgotten.append(code)

    def rows(self) -> dict[str, list[tuple[Any, ...]]]:
        """The rows, with their site, to be written to each table read from the facts."""
        found: dict[str, list[tuple[Any, ...]]] = {}
        for (kind, _), record in self.state.changed.items():
            if record is not None:
                found.setdefault(kind, []).append((self.site, *row_of(kind, record)))
        return found

    def removed(self) -> list[tuple[str, str]]:
        """Records that no fact speaks of any more, as (kind, code): those an UNDO took back whole."""
        return [key for key, record in self.state.changed.items() if record is None]

    def settle(self) -> None:
        """The transaction is durable: what it changed is what the cache knows."""
        for key, record in self.state.changed.items():
            self._cache.keep(key, record)
        self._cache.hands.update({station: row[1] for station, row in self.beside.get("hand", {}).items()})
        self._cache.head = self.head
