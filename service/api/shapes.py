"""Records as the API shows them: their fields, and what follows from them."""

from dataclasses import asdict
from typing import Any

from service.custody.chain import expired, flags_of, state_of, use_by
from service.custody.records import Load, Pack
from service.custody.rules.loading import not_unloaded
from service.custody.rules.release import against_release, standing
from service.ledger.store import Reader


def pack_shape(reader: Reader, pack: Pack, now: str) -> dict[str, Any]:
    """A pack with its state, flags, use-by and whether it has expired at `now`."""
    state = reader.state
    wash, steam = state.load(pack.wash), state.load(pack.load)
    last = use_by(pack, steam, state.practice.zone)
    owner = state.set(pack.set)
    return asdict(pack) | {
        "name": owner.name if owner else pack.set,
        "state": state_of(pack, wash, steam),
        "flags": flags_of(pack, wash, steam),
        "use_by": last.isoformat() if last else None,
        "expired": expired(pack, steam, now, state.practice.zone),
    }


def load_shape(reader: Reader, load: Load) -> dict[str, Any]:
    """A load with what speaks for and against its release."""
    state = reader.state
    more: dict[str, Any] = {}
    if load.steam:
        more = {
            "standing": [{"side": side, "words": words} for side, words in standing(state, load)],
            "releasable": not against_release(state, load),
            "not_unloaded": [pack.code for pack in not_unloaded(state, load)] if load.ended_at else [],
            "biological": load.biological,
        }
    return asdict(load) | more


def set_shape(reader: Reader, code: str) -> dict[str, Any] | None:
    owner = reader.state.set(code)
    return (
        asdict(owner) | {"sheet": [dict(zip(("group", "line", "count"), row, strict=True)) for row in owner.sheet]}
        if (owner)
        else None
    )
