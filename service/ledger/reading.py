"""Looks at a ledger kept in SQL: everything a reader may ask of one site, inside one read transaction."""

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Self, cast

from service.custody.chain import State, number_in
from service.custody.facts import Fact
from service.custody.practice import Practice
from service.custody.records import Case, Load, Pack, Recall, Record
from service.ledger.seal import FIRST_PREV
from service.ledger.tables import KEPT, SELECT, SELECT_FACT, SELECT_FACT_BY_DATA, fact_of, record_of

# The first site, then for each the next one after it: as many steps as there are sites, however many facts.
_SITES = """WITH RECURSIVE one (code) AS (
  SELECT min(site) FROM fact
  UNION ALL SELECT (SELECT min(site) FROM fact WHERE site > one.code) FROM one WHERE one.code IS NOT NULL
) SELECT code FROM one WHERE code IS NOT NULL"""
# Word for word the condition of the index load_unsettled, or it would not be used: `Load.settled` in SQL, turned round.
_UNSETTLED = """rejected IS NULL AND (load_kind IS NULL OR load_kind = 'goods')
  AND (held IS NOT NULL OR (released_at IS NULL AND result IS NULL)
  OR (biological_lot IS NOT NULL AND biologicals = '[]'))"""
_WHEN = {"pack": "opened_at", "load": "began_at", "case": "opened_at"}
_BEARS = {"A": ("patient", "name"), "B": ("person", "name"), "H": ("name",), "I": ("name",), "L": (), "W": ()}
"""By the first letter of a series, the tables whose codes are of it. Loads and shelves are looked for in the facts."""
_KEYED = ("pack", "load", "set", "patient")
ENDLESS = 2**62


class SqlReader(ABC):
    """A look inside one read transaction. Each store says how a statement is run."""

    CASE: str
    MACHINE: str
    SHELF: str
    """How this store's SQL reads the case, the machine or the shelf out of a fact's data."""
    ERRORS: tuple[type[Exception], ...]
    """What the store raises when it cannot read what it keeps."""

    def __init__(self, connection: Any, practice: Practice) -> None:
        self._connection = connection
        self._practice = practice
        self.site = practice.site

    def of(self, site: str) -> Self:
        return type(self)(self._connection, replace(self._practice, site=site))

    @property
    def state(self) -> State:
        return State(self, self._practice)

    @abstractmethod
    def _all(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        """Every row. Raises LedgerError when the store cannot read them."""

    @abstractmethod
    def _stream(self, sql: str, *values: Any) -> Iterator[tuple[Any, ...]]:
        """The rows one after another, however many there are."""

    def _among(self, values: list[str]) -> str:
        """SQL that asks whether a column is one of `values`, given as `_told`."""
        return f"IN ({', '.join('?' * len(values))})"

    def _told(self, values: list[str]) -> list[Any]:
        return list(values)

    @abstractmethod
    def damage(self) -> str | None: ...

    def _first(self, sql: str, *values: Any) -> tuple[Any, ...] | None:
        rows = self._all(sql, *values)
        return rows[0] if rows else None

    def get(self, kind: str, code: str) -> Record | None:
        row = self._first(f"{SELECT[kind]} AND code = ?", self.site, code)
        return record_of(kind, row) if row else None

    def many(self, kind: str, codes: list[str]) -> list[Record]:
        """The records there are of these, in one question."""
        sql = f"{SELECT[kind]} AND code {self._among(codes)}"
        return [record_of(kind, row) for row in self._all(sql, self.site, *self._told(codes))]

    def fact(self, fact_id: str) -> Fact | None:
        row = self._first(f"{SELECT_FACT} AND id = ?", self.site, fact_id)
        return fact_of(row) if row else None

    def history(self, kind: str, code: str) -> list[Fact]:
        """Every fact that names this record, in the order of writing."""
        if kind in {"case", "machine"}:
            within = self.CASE if kind == "case" else self.MACHINE
            named, select = f"{within} = ? AND {within} IS NOT NULL", SELECT_FACT_BY_DATA
        elif kind in _KEYED:
            named, select = f'"{kind}" = ?', SELECT_FACT
        else:
            return []
        return [fact_of(row) for row in self._all(f"{select} AND {named} ORDER BY seq", self.site, code)]

    def loads_of(self, machine: str) -> list[Load]:
        rows = self._all(f"{SELECT['load']} AND machine = ? ORDER BY started_seq", self.site, machine)
        return [cast("Load", record_of("load", row)) for row in rows]

    def latest(self, machine: str, limit: int) -> list[Load]:
        sql = f"{SELECT['load']} AND machine = ? ORDER BY started_seq DESC LIMIT ?"
        return [cast("Load", record_of("load", row)) for row in self._all(sql, self.site, machine, limit)][::-1]

    def packs_of(self, set_code: str) -> list[Pack]:
        rows = self._all(f'{SELECT["pack"]} AND "set" = ? ORDER BY turn', self.site, set_code)
        return [cast("Pack", record_of("pack", row)) for row in rows]

    def highest(self, series: str) -> int:
        """The highest number of a series that anything here bears, however it came by it; 0 without any."""
        facts = {"H": self.SHELF, "L": "load", "W": "load"}.get(series[0])
        asked = [f'SELECT max(code) FROM "{table}" WHERE site = ? AND code' for table in _BEARS[series[0]]]  # noqa: S608 (names are ours)
        asked += [f"SELECT max({facts}) FROM fact WHERE site || '' = ? AND {facts}"] if facts else []  # noqa: S608 (names are ours)
        values = (self.site, f"{series}-0", f"{series}-:")
        rows = (row for sql in asked for row in self._all(f"{sql} BETWEEN ? AND ?", *values))
        return max(number_in(series, row[0] or "") for row in rows)

    def everything(self, kind: str) -> list[Record]:
        return [record_of(kind, row) for row in self.rows(kind)]

    def sites(self) -> list[str]:
        return [row[0] for row in self._all(_SITES)]

    def head(self) -> tuple[int, str]:
        row = self._first("SELECT seq, hash FROM fact WHERE site = ? ORDER BY seq DESC LIMIT 1", self.site)
        return (row[0], row[1]) if row else (0, FIRST_PREV)

    def facts(self, after: int = 0, until: int | None = None) -> Iterator[Fact]:
        rows = self._stream(f"{SELECT_FACT} AND seq > ? AND seq <= ? ORDER BY seq", self.site, after, until or ENDLESS)
        return (fact_of(row) for row in rows)

    def keys(self) -> list[Fact]:
        return [fact_of(row) for row in self._all(f"{SELECT_FACT} AND kind = 'key_named' ORDER BY seq", self.site)]

    def hashes(self, after: int = 0, until: int | None = None) -> Iterator[bytes]:
        sql = "SELECT hash FROM fact WHERE site = ? AND seq > ? AND seq <= ? ORDER BY seq"
        return (bytes.fromhex(row[0]) for row in self._stream(sql, self.site, after, until or ENDLESS))

    def loads(self, limit: int, kind: str | None = None) -> list[Load]:
        rows = self._all(
            f"{SELECT['load']} AND code LIKE ? ORDER BY began_at DESC, code DESC LIMIT ?",
            self.site,
            f"{kind or '_'}-%",
            limit,
        )
        return [cast("Load", record_of("load", row)) for row in rows]

    def unsettled(self) -> list[Load]:
        rows = self._all(f"{SELECT['load']} AND {_UNSETTLED} ORDER BY seq", self.site)
        return [cast("Load", record_of("load", row)) for row in rows]

    def open_cases(self) -> list[Case]:
        rows = self._all(f"{SELECT['case']} AND closed_at IS NULL ORDER BY seq", self.site)
        return [cast("Case", record_of("case", row)) for row in rows]

    def overridden(self) -> list[Pack]:
        rows = self._all(f"{SELECT['pack']} AND overridden <> '[]' ORDER BY seq", self.site)
        return [cast("Pack", record_of("pack", row)) for row in rows]

    def between(self, kind: str, since: str, until: str, limit: int) -> list[Record]:
        when = _WHEN[kind]
        sql = f"{SELECT[kind]} AND {when} >= ? AND {when} < ? ORDER BY {when}, code LIMIT ?"
        return [record_of(kind, row) for row in self._all(sql, self.site, since, until, limit)]

    def at_station(self, station: str, since: str, until: str) -> list[Fact]:
        sql = f"{SELECT_FACT} AND station = ? AND at >= ? AND at < ? ORDER BY at, seq"
        return [fact_of(row) for row in self._all(sql, self.site, station, since, until)]

    def recalls(self) -> list[Recall]:
        rows = self._all(f"{SELECT['recall']} ORDER BY opened_at DESC, code", self.site)
        return [cast("Recall", record_of("recall", row)) for row in rows]

    def cases_of(self, patient: str) -> list[Case]:
        rows = self._all(f"{SELECT['case']} AND patient = ? ORDER BY opened_at, code", self.site, patient)
        return [cast("Case", record_of("case", row)) for row in rows]

    def codes_of(self, patient: str) -> list[str]:
        sql = "SELECT code FROM patient WHERE site = ? AND now = ? ORDER BY code"
        return [row[0] for row in self._all(sql, self.site, patient)]

    def name(self, code: str) -> str | None:
        found = self.named(code)
        return found[0] if found else None

    def named(self, code: str) -> tuple[str, str | None] | None:
        row = self._first("SELECT name, detail FROM name WHERE site = ? AND code = ?", self.site, code)
        return (row[0], row[1]) if row else None

    def names(self, kind: str | None = None) -> list[tuple[str, str, str, str | None]]:
        found = [(row[0], row[1], row[2], row[3]) for row in self.kept("name")]
        return [row for row in found if kind in {None, row[1]}]

    def log(self, load: str) -> tuple[str, str, bytes] | None:
        """The cycle log last judged for a load: its SHA-256, its programme, its bytes as they came."""
        row = self._first(
            "SELECT c.sha256, c.programme, c.body FROM cycle_log c JOIN load l ON l.site = c.site AND l.code = c.load "
            "AND l.log_sha256 = c.sha256 WHERE c.site = ? AND c.load = ?",
            self.site,
            load,
        )
        return (row[0], row[1], bytes(row[2])) if row else None

    def load_of_log(self, sha256: str) -> str | None:
        """The first load that a log with this hash was kept for."""
        row = self._first("SELECT min(load) FROM cycle_log WHERE site = ? AND sha256 = ?", self.site, sha256)
        return row[0] if row else None

    def photo(self, load: str, sha256: str) -> tuple[str, bytes] | None:
        """A photo kept with a load: its media type and its bytes as they came."""
        found = "SELECT media, body FROM photo WHERE site = ? AND load = ? AND sha256 = ?"
        row = self._first(found, self.site, load, sha256)
        return (row[0], bytes(row[1])) if row else None

    def access(self, kind: str, key: str) -> str | None:
        row = self._first("SELECT body FROM access WHERE site = ? AND kind = ? AND key = ?", self.site, kind, key)
        return row[0] if row else None

    def accesses(self, kind: str) -> list[tuple[str, str]]:
        sql = "SELECT key, body FROM access WHERE site = ? AND kind = ? ORDER BY key"
        return [(row[0], row[1]) for row in self._all(sql, self.site, kind)]

    def hand(self, station: str) -> str | None:
        row = self._first("SELECT body FROM hand WHERE site = ? AND station = ?", self.site, station)
        return row[0] if row else None

    def hands(self) -> dict[str, str]:
        return {row[0]: row[1] for row in self.kept("hand")}

    def answers(self, scans: list[str]) -> dict[str, str]:
        if not scans:
            return {}
        sql = f"SELECT scan, body FROM answer WHERE site = ? AND scan {self._among(scans)}"  # noqa: S608 (only marks)
        return {row[0]: row[1] for row in self._all(sql, self.site, *self._told(scans))}

    def rows(self, kind: str) -> Iterator[tuple[Any, ...]]:
        return self._stream(f"{SELECT[kind]} ORDER BY code", self.site)

    def about(self, key: str) -> str | None:
        """What the ledger says of itself: `copying`, where a copy that is not finished comes from."""
        row = self._first("SELECT value FROM about WHERE key = ?", key)
        return row[0] if row else None

    def kept(self, table: str) -> Iterator[tuple[Any, ...]]:
        return self._stream(KEPT[table], self.site)
