"""Records as table rows: one column a field, tuples as JSON text, so that two readings compare byte for byte.

SQL here is what both stores speak, with `?` for a value; `service.ledger.postgres` puts `%s` in its place.
"""

from collections.abc import Callable
from dataclasses import fields
from operator import attrgetter
from typing import Any

import orjson

from service.custody.facts import Fact
from service.custody.records import KINDS, Record
from service.ledger.seal import canonical

FACT_COLUMNS = (
    "site", "seq", "id", "kind", "at", "noted_at", "station", "by", "set", "pack", "load", "patient", "data", "prev",
    "hash",
)  # fmt: skip


_FACT_VALUES = attrgetter(*FACT_COLUMNS)
_DATA = FACT_COLUMNS.index("data")


def quoted(names: tuple[str, ...]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _insert(table: str, columns: tuple[str, ...]) -> str:
    return f'INSERT INTO "{table}" ({quoted(columns)}) VALUES ({", ".join("?" * len(columns))})'  # noqa: S608 (names are ours)


def _upsert(table: str, keys: tuple[str, ...], values: tuple[str, ...]) -> str:
    updates = ", ".join(f'"{name}" = excluded."{name}"' for name in values)
    then = f"DO UPDATE SET {updates}" if updates else "DO NOTHING"
    return f"{_insert(table, (*keys, *values))} ON CONFLICT ({quoted(keys)}) {then}"


COLUMNS: dict[str, tuple[str, ...]] = {kind: tuple(f.name for f in fields(cls)) for kind, cls in KINDS.items()}
INSERT_FACT = _insert("fact", FACT_COLUMNS)
SELECT_FACT = f"SELECT {quoted(FACT_COLUMNS)} FROM fact WHERE site = ?"  # noqa: S608 (column names are ours)
SELECT_FACT_BY_DATA = SELECT_FACT.replace("site = ?", "site || '' = ?")
"""For what a fact's data holds: SQLite's planner would go through a whole site rather than use the index on that."""
UPSERT = {kind: _upsert(kind, ("site", "code"), columns[1:]) for kind, columns in COLUMNS.items()}
SELECT = {kind: f'SELECT {quoted(columns)} FROM "{kind}" WHERE site = ?' for kind, columns in COLUMNS.items()}  # noqa: S608 (names are ours)
DELETE = {kind: f'DELETE FROM "{kind}" WHERE site = ? AND code = ?' for kind in COLUMNS}  # noqa: S608 (names are ours)

# What stands beside the facts: the conversation, personal data, logs as they came, the signed checkpoints, and who may
# come in.
BESIDE: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "hand": (("site", "station"), ("body",)),
    "answer": (("site", "scan"), ("body",)),
    "name": (("site", "code"), ("kind", "name", "detail")),
    "cycle_log": (("site", "load", "sha256"), ("programme", "body")),
    "photo": (("site", "load", "sha256"), ("media", "body")),
    "checkpoint": (("site", "size"), ("root", "at", "key", "signature")),
    "access": (("site", "kind", "key"), ("body",)),
}
KEEP = {table: _upsert(table, keys, values) for table, (keys, values) in BESIDE.items()}
SAY = "INSERT INTO about (key, value) VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value"
UNSAY = "DELETE FROM about WHERE key = ?"
FORGET = "DELETE FROM name WHERE site = ? AND code = ?"
DROP = "DELETE FROM access WHERE site = ? AND kind = ? AND key = ?"
KEPT = {
    table: f'SELECT {quoted((*keys[1:], *values))} FROM "{table}" WHERE site = ? ORDER BY {quoted(keys[1:])}'  # noqa: S608 (names are ours)
    for table, (keys, values) in BESIDE.items()
}


def _compact(value: Any) -> str:
    return orjson.dumps(value).decode()


def _reader(annotation: Any) -> Callable[[Any], Any] | None:
    text = str(annotation)
    if "tuple" in text:
        nested = text.count("tuple") > 1
        return lambda value: tuple(tuple(row) if nested else row for row in orjson.loads(value))
    return bool if annotation is bool else None


_READERS: dict[str, tuple[Callable[[Any], Any] | None, ...]] = {
    kind: tuple(_reader(f.type) for f in fields(cls)) for kind, cls in KINDS.items()
}
_TUPLES = {
    kind: tuple(place for place, f in enumerate(fields(cls)) if "tuple" in str(f.type)) for kind, cls in KINDS.items()
}
_FLAGS = {kind: tuple(place for place, f in enumerate(fields(cls)) if f.type is bool) for kind, cls in KINDS.items()}
_VALUES = {kind: attrgetter(*columns) for kind, columns in COLUMNS.items()}


def row_of(kind: str, record: Record) -> tuple[Any, ...]:
    """The table row of a record, without its site; true and false are kept as 1 and 0."""
    values = list(_VALUES[kind](record))
    for place in _TUPLES[kind]:
        values[place] = _compact(values[place]) if values[place] else "[]"
    for place in _FLAGS[kind]:
        values[place] = int(values[place])
    return tuple(values)


def record_of(kind: str, row: tuple[Any, ...]) -> Record:
    """The record of a table row in the order of COLUMNS."""
    values = [read(value) if read else value for read, value in zip(_READERS[kind], row, strict=True)]
    return KINDS[kind](*values)


def fact_row(fact: Fact) -> tuple[Any, ...]:
    values = list(_FACT_VALUES(fact))
    values[_DATA] = canonical(fact.data)
    return tuple(values)


def fact_of(row: tuple[Any, ...]) -> Fact:
    """The fact of a row in the order of FACT_COLUMNS. Raises ValueError when its data is not JSON."""
    site, seq, fact_id, kind, at, noted_at, station, by, set_, pack, load, patient, data, prev, hash_ = row
    return Fact(
        kind, at, site, station, by, set_, pack, load, patient, orjson.loads(data), seq, fact_id, noted_at, prev, hash_
    )
