"""Looks at the embedded ledger: everything a reader may ask, inside one read transaction."""

import sqlite3
from collections.abc import Iterator
from typing import Any, cast

from service.custody.chain import State
from service.custody.facts import Fact
from service.custody.practice import Practice
from service.custody.records import Case, Load, Pack, Recall, Record
from service.ledger.seal import FIRST_PREV
from service.ledger.tables import (
    FACT_COLUMNS,
    SELECT,
    SELECT_FACT,
    fact_of,
    record_of,
)

_HISTORY = {
    "pack": f"{SELECT_FACT} WHERE pack = ? ORDER BY seq",
    "load": f"{SELECT_FACT} WHERE load = ? ORDER BY seq",
    "set": f'{SELECT_FACT} WHERE "set" = ? ORDER BY seq',
    "patient": f"{SELECT_FACT} WHERE patient = ? ORDER BY seq",
    "case": f"{SELECT_FACT} WHERE json_extract(data, '$.case') = ? AND json_extract(data, '$.case') IS NOT NULL "
    "ORDER BY seq",
}


class SqliteReader:
    """A look at the ledger inside one read transaction."""

    def __init__(self, connection: sqlite3.Connection, practice: Practice) -> None:
        self._connection = connection
        self._practice = practice

    @property
    def state(self) -> State:
        return State(self, self._practice)

    def _all(self, sql: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        return self._connection.execute(sql, values).fetchall()

    def get(self, kind: str, code: str) -> Record | None:
        row = self._connection.execute(f"{SELECT[kind]} WHERE code = ?", (code,)).fetchone()
        return record_of(kind, row) if row else None

    def fact(self, fact_id: str) -> Fact | None:
        row = self._connection.execute(f"{SELECT_FACT} WHERE id = ?", (fact_id,)).fetchone()
        return fact_of(row) if row else None

    def history(self, kind: str, code: str) -> list[Fact]:
        return [fact_of(row) for row in self._all(_HISTORY[kind], (code,))] if kind in _HISTORY else []

    facts_about = history

    def loads_of(self, machine: str) -> list[Load]:
        rows = self._all(f"{SELECT['load']} WHERE machine = ? ORDER BY started_seq", (machine,))
        return [cast("Load", record_of("load", row)) for row in rows]

    def packs_of(self, set_code: str) -> list[Pack]:
        rows = self._all(f'{SELECT["pack"]} WHERE "set" = ? ORDER BY turn', (set_code,))
        return [cast("Pack", record_of("pack", row)) for row in rows]

    def everything(self, kind: str) -> list[Record]:
        return [record_of(kind, row) for row in self._all(f"{SELECT[kind]} ORDER BY code")]

    def sites(self) -> list[str]:
        return [row[0] for row in self._all("SELECT code FROM site ORDER BY code")]

    def chains(self) -> list[str]:
        """The sites that have facts, read from the facts themselves."""
        return [row[0] for row in self._all("SELECT DISTINCT site FROM fact ORDER BY site")]

    def facts(self, site: str, after: int = 0) -> Iterator[Fact]:
        rows = self._connection.execute(f"{SELECT_FACT} WHERE site = ? AND seq > ? ORDER BY seq", (site, after))
        return (fact_of(row) for row in rows)

    def facts_between(self, start: str, end: str) -> Iterator[Fact]:
        rows = self._connection.execute(f"{SELECT_FACT} WHERE at >= ? AND at < ? ORDER BY seq", (start, end))
        return (fact_of(row) for row in rows)

    def loads(self, limit: int, kind: str | None = None) -> list[Load]:
        letter = kind or "_"
        rows = self._all(
            f"{SELECT['load']} WHERE code LIKE ? ORDER BY began_at DESC, code DESC LIMIT ?", (f"{letter}-%", limit)
        )
        return [cast("Load", record_of("load", row)) for row in rows]

    def recalls(self) -> list[Recall]:
        rows = self._all(f"{SELECT['recall']} ORDER BY opened_at DESC, code")
        return [cast("Recall", record_of("recall", row)) for row in rows]

    def cases_of(self, patient: str) -> list[Case]:
        rows = self._all(f"{SELECT['case']} WHERE patient = ? ORDER BY code", (patient,))
        return [cast("Case", record_of("case", row)) for row in rows]

    def name(self, code: str) -> str | None:
        row = self._connection.execute("SELECT name FROM name WHERE code = ?", (code,)).fetchone()
        return row[0] if row else None

    def names(self, kind: str | None = None) -> list[tuple[str, str, str, str | None]]:
        rows = self._all(
            "SELECT code, kind, name, detail FROM name WHERE kind = ? OR ? IS NULL ORDER BY code", (kind,) * 2
        )
        return [(code, sort, name, detail) for code, sort, name, detail in rows]

    def log(self, load: str) -> tuple[str, str, bytes] | None:
        """The cycle log last judged for a load: its SHA-256, its programme, its bytes as they came."""
        row = self._connection.execute(
            "SELECT c.sha256, c.programme, c.body FROM cycle_log c JOIN load l ON l.code = c.load "
            "AND l.log_sha256 = c.sha256 WHERE c.load = ?",
            (load,),
        ).fetchone()
        return (row[0], row[1], bytes(row[2])) if row else None

    def hand(self, station: str) -> str | None:
        row = self._connection.execute("SELECT body FROM hand WHERE station = ?", (station,)).fetchone()
        return row[0] if row else None

    def hands(self) -> dict[str, str]:
        return dict(self._all("SELECT station, body FROM hand"))

    def answer(self, scan: str) -> str | None:
        row = self._connection.execute("SELECT body FROM answer WHERE scan = ?", (scan,)).fetchone()
        return row[0] if row else None

    def head(self, site: str) -> tuple[int, str]:
        """The number and hash of the last fact of a site."""
        row = self._connection.execute(
            "SELECT seq, hash FROM fact WHERE site = ? ORDER BY seq DESC LIMIT 1", (site,)
        ).fetchone()
        return (row[0], row[1]) if row else (0, FIRST_PREV)

    def rows(self, kind: str) -> Iterator[tuple[Any, ...]]:
        return iter(self._connection.execute(f"{SELECT[kind]} ORDER BY code"))

    def count(self) -> int:
        return int(self._connection.execute("SELECT count(*) FROM fact").fetchone()[0])

    def strays(self) -> Iterator[tuple[str, int]]:
        """The facts, as (site, seq), of which an index of the file says something else than the fact itself."""
        for column in ("id", "pack", "load", "set", "patient"):
            told = self._connection.execute(
                f'SELECT "{column}", site, seq FROM fact INDEXED BY fact_{column} WHERE "{column}" IS NOT NULL'  # noqa: S608 (names are ours)
            )
            for value, site, seq in told:
                fact = next(iter(self._all(f"{SELECT_FACT} WHERE site = ? AND seq = ?", (site, seq))), None)
                if fact is None or value != fact[FACT_COLUMNS.index(column)]:
                    yield site, seq

    def damage(self) -> str | None:
        """What SQLite itself finds wrong with the file; None when nothing."""
        found = self._connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
        return None if found == "ok" else str(found)
