"""Verify: walk the chain, replay every fact, and arrive at the same tables, byte for byte."""

import sqlite3
from dataclasses import dataclass

from service.custody.chain import Nothing, State, evolve
from service.custody.facts import Fact
from service.custody.practice import Practice
from service.custody.records import KINDS
from service.ledger.reading import SqliteReader
from service.ledger.seal import FIRST_PREV, fault_in
from service.ledger.tables import row_of


@dataclass(frozen=True, slots=True)
class Verdict:
    """`fault` is None when the record holds; otherwise one line that names the first thing wrong."""

    facts: int
    heads: dict[str, str]
    fault: str | None


class _Replayed(State):
    """State in replay. Looks back go to the ledger, cut off at the fact being replayed, and not to memory."""

    def __init__(self, reader: SqliteReader, practice: Practice) -> None:
        super().__init__(Nothing(), practice)
        self._reader = reader
        self._now = 0

    def remember(self, fact: Fact) -> None:
        self._now = fact.seq

    def fact(self, fact_id: str) -> Fact | None:
        return self._reader.fact(fact_id)

    def history(self, kind: str, code: str) -> list[Fact]:
        return [fact for fact in self._reader.history(kind, code) if fact.seq <= self._now]


def verify(reader: SqliteReader, practice: Practice) -> Verdict:
    """Check the chain of every site, then the tables. The walk stops at the first fault."""
    state = _Replayed(reader, practice)
    count = 0
    heads: dict[str, str] = {}
    try:
        sites = reader.chains()
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        return Verdict(0, {}, f"the file is damaged ({error})")
    for site in sites:
        prev, seq = FIRST_PREV, 0
        try:
            for fact in reader.facts(site):
                fault = fault_in(fact, seq + 1, prev)
                if fault:
                    return Verdict(count, heads, f"site {site}: {fault}")
                evolve(state, fact)
                prev, seq, count = fact.hash, fact.seq, count + 1
        except (sqlite3.DatabaseError, ValueError, KeyError, TypeError, AttributeError) as error:
            # A byte changed by hand may leave text that is not UTF-8, data that is not JSON, or a page that is torn.
            return Verdict(count, heads, f"site {site}: fact {seq + 1} was changed and cannot be read ({error})")
        heads[site] = prev
    return Verdict(count, heads, _damage(reader) or _tables_fault(reader, state))


def _tables_fault(reader: SqliteReader, state: State) -> str | None:
    for kind in KINDS:
        made = {code: row_of(kind, record) for (sort, code), record in state.changed.items() if sort == kind and record}
        try:
            for row in reader.rows(kind):
                if made.pop(row[0], None) != row:
                    return f"the table of {kind}s differs from the facts at {row[0]}"
        except sqlite3.DatabaseError as error:
            return f"the table of {kind}s is damaged ({error})"
        if made:
            return f"the table of {kind}s lacks {min(made)}, which the facts have"
    return None


def _damage(reader: SqliteReader) -> str | None:
    """What SQLite finds wrong with the file, with the fact it concerns where an index no longer finds one."""
    damage = reader.damage()
    if damage is None:
        return None
    for site, seq in reader.strays():
        return f"site {site}: fact {seq} was changed in an index of the file ({damage})"
    return f"the file is damaged ({damage})"
