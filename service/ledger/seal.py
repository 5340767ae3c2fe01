"""The seal on each fact: SHA-256 of its canonical JSON, chained to the fact before it on its site."""

import hashlib
from operator import attrgetter
from typing import Any

import orjson

from service.custody.facts import KEYS, Fact, check

FIRST_PREV = "0" * 64
_SEALED = tuple(sorted(key for key in KEYS if key != "hash"))
_VALUES = attrgetter(*_SEALED)


def canonical(value: Any) -> str:
    """RFC 8785 canonical JSON: for integers, NFC text and ASCII keys, sorted compact JSON is that form.

    Raises TypeError for what JSON cannot hold, an integer beyond 64 bits, or half a character.
    """
    return orjson.dumps(value, option=orjson.OPT_SORT_KEYS).decode()


def fact_hash(fact: Fact) -> str:
    """SHA-256, in hex, of the canonical JSON of `fact` without its `hash`."""
    body = orjson.dumps(dict(zip(_SEALED, _VALUES(fact), strict=True)), option=orjson.OPT_SORT_KEYS)
    return hashlib.sha256(body).hexdigest()


def seal(fact: Fact, *, seq: int, fact_id: str, noted_at: str, prev: str) -> Fact:
    """`fact` as the ledger keeps it. Raises FactError when it may not be written."""
    check(fact)
    f = fact
    whose = (f.kind, f.at, f.site, f.station, f.by, f.set, f.pack, f.load, f.patient, f.data)
    return Fact(*whose, seq, fact_id, noted_at, prev, fact_hash(Fact(*whose, seq, fact_id, noted_at, prev)))


def fault_in(fact: Fact, seq: int, prev: str) -> str | None:
    """What is wrong with `fact` as number `seq` after the hash `prev`; None when it holds."""
    if fact.seq != seq:
        return f"fact {seq} is missing: fact {fact.seq} stands in its place"
    if fact.prev != prev:
        return f"fact {seq} does not follow the fact before it"
    if fact.hash != fact_hash(fact):
        return f"fact {seq} ({fact.kind}) was changed after it was written"
    return None
