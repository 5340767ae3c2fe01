"""A ledger in memory, for tests that need no disk. It keeps the same contract, for as long as the process lives."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from operator import attrgetter
from typing import Any, cast

from service.custody.chain import State, borne, number_in
from service.custody.facts import Fact
from service.custody.folds import named
from service.custody.practice import Practice
from service.custody.records import Case, Load, Pack, Patient, Recall, Record
from service.ledger.batch import Batch, Cache
from service.ledger.seal import FIRST_PREV
from service.ledger.tables import row_of

Key = tuple[str, str, Any]
_SEQ = attrgetter("seq")


@dataclass(frozen=True, slots=True)
class _Contents:
    """Everything kept, at one moment; a commit makes the next one and leaves this as it is."""

    facts: dict[str, tuple[Fact, ...]] = field(default_factory=dict)
    records: dict[Key, Record] = field(default_factory=dict)
    beside: dict[Key, tuple[Any, ...]] = field(default_factory=dict)


class MemoryReader:
    """A look at one moment of one site."""

    ERRORS: tuple[type[Exception], ...] = ()

    def __init__(self, contents: _Contents, practice: Practice) -> None:
        self._contents = contents
        self._practice = practice
        self.site = practice.site

    def of(self, site: str) -> "MemoryReader":
        return MemoryReader(self._contents, replace(self._practice, site=site))

    @property
    def state(self) -> State:
        return State(self, self._practice)

    @property
    def _facts(self) -> tuple[Fact, ...]:
        return self._contents.facts.get(self.site, ())

    def get(self, kind: str, code: str) -> Record | None:
        return self._contents.records.get((self.site, kind, code))

    def many(self, kind: str, codes: list[str]) -> list[Record]:
        return [record for code in codes if (record := self.get(kind, code))]

    def fact(self, fact_id: str) -> Fact | None:
        return next((fact for fact in self._facts if fact.id == fact_id), None)

    def history(self, kind: str, code: str) -> list[Fact]:
        return [fact for fact in self._facts if (kind, code) in named(fact)]

    def everything(self, kind: str) -> list[Record]:
        found = [r for (site, sort, _), r in self._contents.records.items() if (site, sort) == (self.site, kind)]
        return sorted(found, key=lambda record: record.code)

    def loads_of(self, machine: str) -> list[Load]:
        found = [load for load in cast("list[Load]", self.everything("load")) if load.machine == machine]
        return sorted(found, key=lambda load: load.started_seq)

    def latest(self, machine: str, limit: int) -> list[Load]:
        return self.loads_of(machine)[-limit:]

    def packs_of(self, set_code: str) -> list[Pack]:
        found = [pack for pack in cast("list[Pack]", self.everything("pack")) if pack.set == set_code]
        return sorted(found, key=lambda pack: pack.turn)

    def highest(self, series: str) -> int:
        """The highest number of a series that anything here bears, however it came by it; 0 without any."""
        told = [code for fact in self._facts for code in borne(fact)] + [row[0] for row in self.names()]
        return max((number_in(series, code) for code in told), default=0)

    def sites(self) -> list[str]:
        return sorted(self._contents.facts)

    def head(self) -> tuple[int, str]:
        return (self._facts[-1].seq, self._facts[-1].hash) if self._facts else (0, FIRST_PREV)

    def facts(self, after: int = 0, until: int | None = None) -> Iterator[Fact]:
        return iter(self._facts[after:until])

    def keys(self) -> list[Fact]:
        return [fact for fact in self._facts if fact.kind == "key_named"]

    def hashes(self, after: int = 0, until: int | None = None) -> Iterator[bytes]:
        return (bytes.fromhex(fact.hash) for fact in self.facts(after, until))

    def loads(self, limit: int, kind: str | None = None) -> list[Load]:
        found = [load for load in cast("list[Load]", self.everything("load")) if load.code[0] == (kind or load.code[0])]
        return sorted(found, key=lambda load: (load.began_at, load.code), reverse=True)[:limit]

    def unsettled(self) -> list[Load]:
        found = [load for load in cast("list[Load]", self.everything("load")) if not load.settled]
        return sorted(found, key=_SEQ)

    def open_cases(self) -> list[Case]:
        found = [case for case in cast("list[Case]", self.everything("case")) if case.closed_at is None]
        return sorted(found, key=_SEQ)

    def overridden(self) -> list[Pack]:
        found = [pack for pack in cast("list[Pack]", self.everything("pack")) if pack.overridden]
        return sorted(found, key=_SEQ)

    def between(self, kind: str, since: str, until: str, limit: int) -> list[Record]:
        when = attrgetter("began_at" if kind == "load" else "opened_at")
        found = [record for record in self.everything(kind) if since <= (when(record) or "") < until]
        return sorted(found, key=lambda record: (when(record), record.code))[:limit]

    def at_station(self, station: str, since: str, until: str) -> list[Fact]:
        found = [fact for fact in self._facts if fact.station == station and since <= fact.at < until]
        return sorted(found, key=lambda fact: (fact.at, fact.seq))

    def recalls(self) -> list[Recall]:
        found = cast("list[Recall]", self.everything("recall"))
        return sorted(found, key=lambda recall: recall.opened_at, reverse=True)

    def cases_of(self, patient: str) -> list[Case]:
        found = [case for case in cast("list[Case]", self.everything("case")) if case.patient == patient]
        return sorted(found, key=lambda case: (case.opened_at, case.code))

    def _beside(self, table: str, key: Any) -> tuple[Any, ...] | None:
        return self._contents.beside.get((self.site, table, key))

    def codes_of(self, patient: str) -> list[str]:
        return [one.code for one in cast("list[Patient]", self.everything("patient")) if one.now == patient]

    def name(self, code: str) -> str | None:
        row = self._beside("name", code)
        return row[2] if row else None

    def named(self, code: str) -> tuple[str, str | None] | None:
        row = self._beside("name", code)
        return (row[2], row[3]) if row else None

    def names(self, kind: str | None = None) -> list[tuple[str, str, str, str | None]]:
        found = [(row[0], row[1], row[2], row[3]) for row in self.kept("name")]
        return [row for row in found if kind in {None, row[1]}]

    def log(self, load: str) -> tuple[str, str, bytes] | None:
        record = self.get("load", load)
        row = self._beside("cycle_log", (load, record.log_sha256)) if isinstance(record, Load) else None
        return (row[1], row[2], row[3]) if row else None

    def load_of_log(self, sha256: str) -> str | None:
        return min((row[0] for row in self.kept("cycle_log") if row[1] == sha256), default=None)

    def photo(self, load: str, sha256: str) -> tuple[str, bytes] | None:
        row = self._beside("photo", (load, sha256))
        return (row[2], row[3]) if row else None

    def access(self, kind: str, key: str) -> str | None:
        row = self._beside("access", (kind, key))
        return row[2] if row else None

    def accesses(self, kind: str) -> list[tuple[str, str]]:
        return [(row[1], row[2]) for row in self.kept("access") if row[0] == kind]

    def hand(self, station: str) -> str | None:
        row = self._beside("hand", station)
        return row[1] if row else None

    def hands(self) -> dict[str, str]:
        return {row[0]: row[1] for row in self.kept("hand")}

    def answers(self, scans: list[str]) -> dict[str, str]:
        found = {scan: self._beside("answer", scan) for scan in scans}
        return {scan: row[1] for scan, row in found.items() if row}

    def rows(self, kind: str) -> Iterator[tuple[Any, ...]]:
        return (row_of(kind, record) for record in self.everything(kind))

    def kept(self, table: str) -> Iterator[tuple[Any, ...]]:
        mine = {
            key: row for (site, name, key), row in self._contents.beside.items() if (site, name) == (self.site, table)
        }
        return iter([mine[key] for key in sorted(mine)])

    def damage(self) -> str | None:
        return None


class MemoryLedger:
    """A ledger that lives as long as this object."""

    place = "memory"

    def __init__(self, practice: Practice) -> None:
        self.practice = practice
        self._contents = _Contents()
        self._turn = threading.Lock()
        self._local = threading.local()

    @contextmanager
    def batch(self, noted_at_ms: int) -> Iterator[Batch]:
        with self._turn:
            before = self._contents
            work = Batch(Cache(MemoryReader(before, self.practice)), noted_at_ms)
            yield work
            self._contents = _after(before, work)

    @contextmanager
    def reading(self) -> Iterator[MemoryReader]:
        held = getattr(self._local, "contents", None)
        self._local.contents = held or self._contents
        try:
            yield MemoryReader(self._local.contents, self.practice)
        finally:
            self._local.contents = held

    def close(self) -> None:
        """Nothing is held."""


def _after(before: _Contents, work: Batch) -> _Contents:
    site, facts, records, beside = work.site, dict(before.facts), dict(before.records), dict(before.beside)
    if work.facts:
        facts[site] = (*facts.get(site, ()), *work.facts)
    for (kind, code), record in work.state.changed.items():
        if record is None:
            records.pop((site, kind, code), None)
        else:
            records[site, kind, code] = record
    for code in work.forgotten:
        beside.pop((site, "name", code), None)
    for dropped in work.dropped:
        beside.pop((site, "access", dropped), None)
    for table, rows in work.beside.items():
        beside |= {(site, table, key): row for key, row in rows.items()}
    return _Contents(facts, records, beside)
