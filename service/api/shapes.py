"""Records as the API shows them: their fields, what follows from them, and the form of it all for the document."""

from dataclasses import asdict
from typing import Any

from pydantic import TypeAdapter

from service.custody.chain import expired, flags_of, state_of, use_by
from service.custody.records import Case, InstrumentSet, Load, Machine, Pack, Person, Recall
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


def machine_shape(machine: Machine) -> dict[str, Any]:
    rows = [dict(zip(("what", "at", "next_due"), row, strict=True)) for row in machine.services]
    return asdict(machine) | {"services": rows}


def set_shape(reader: Reader, code: str) -> dict[str, Any] | None:
    owner = reader.state.set(code)
    return (
        asdict(owner) | {"sheet": [dict(zip(("group", "line", "count"), row, strict=True)) for row in owner.sheet]}
        if (owner)
        else None
    )


# The forms, as JSON Schema

_KINDS: dict[Any, dict[str, Any]] = {
    str: {"type": "string"}, int: {"type": "integer"}, float: {"type": "number"}, bool: {"type": "boolean"},
    list: {"type": "array"}, dict: {"type": "object"}, None: {"type": "null"},
}  # fmt: skip
TEXTS = {"type": "array", "items": {"type": "string"}}
MAYBE = (str, None)


def object_of(**fields: Any) -> dict[str, Any]:
    """The form of an object with these fields: a type, several, or a form of its own."""
    return {"type": "object", "required": [*fields], "properties": {name: _form(kind) for name, kind in fields.items()}}


def list_of(form: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": form}


def either(*words: str | None) -> dict[str, Any]:
    return {"enum": [*words]}


def _form(kind: Any) -> dict[str, Any]:
    if isinstance(kind, dict):
        return kind
    return {"anyOf": [_KINDS[one] for one in kind]} if isinstance(kind, tuple) else _KINDS[kind]


def _record(record: type, **more: Any) -> dict[str, Any]:
    """The form of a record with every one of its fields, and of what is shown beside them."""
    found = TypeAdapter(record).json_schema(mode="serialization")["properties"]
    return object_of(
        **{name: {key: kind[key] for key in kind.keys() - {"default", "title"}} for name, kind in found.items()} | more
    )


_VERDICT = either("go", "ask", "stop")
_SAID = {"headline": str, "detail": str, "next": str, "subject": MAYBE, "facts": TEXTS, "rule": MAYBE, "at": MAYBE}
ANSWER = object_of(verdict=_VERDICT, **_SAID)
ISSUED = ANSWER | {"properties": ANSWER["properties"] | {"codes": TEXTS}}
_JUDGEMENT = object_of(
    verdict=either("pass", "fail", "cannot judge"), programme=str, hold_s=int, f0_min=float, plateau=(dict, None),
    criteria=list,
)  # fmt: skip
JUDGED = object_of(verdict=_VERDICT, **_SAID, judgement=_JUDGEMENT)
SCREEN = object_of(
    verdict=_VERDICT, **_SAID, late=bool, open=object_of(title=str, number=str, line=str), who=MAYBE, last=list,
    step=MAYBE, sheet=(dict, None),
)  # fmt: skip
_STATE = either("soiled", "washing", "clean", "packed", "loaded", "waiting", "released", "opened")
PACK = _record(Pack, name=str, state=_STATE, flags=TEXTS, use_by=MAYBE, expired=bool)
LOAD = _record(Load)
SET = _record(InstrumentSet, sheet=list_of(object_of(group=str, line=str, count=int)))
SET_AND_PACKS = SET | {
    "required": [*SET["required"], "packs"],
    "properties": SET["properties"] | {"packs": list_of(PACK)},
}
_SERVICE = object_of(what=str, at=str, next_due=MAYBE)
MACHINE = _record(Machine, services=list_of(_SERVICE))
PERSON, RECALL = _record(Person, name=MAYBE), _record(Recall)
PATIENT_LINE = object_of(patient=str, name=MAYBE, species=MAYBE)
PATIENT = object_of(patient=str, known_as=str, name=MAYBE, cases=list_of(_record(Case)))
CUSTODY = object_of(
    pack=str, set=str, state=_STATE, flags=TEXTS, patients=TEXTS, facts=list_of({"type": "object"}), gaps=TEXTS
)
_ROW = object_of(pack=str, set=str, state=_STATE, flags=TEXTS, load=MAYBE, patients=TEXTS, opened_at=MAYBE, shelf=MAYBE)
REACHED = object_of(load=str, reach=str, why=str, loads=TEXTS, packs=list_of(_ROW), patients=TEXTS, counts=dict)
HEALTH = object_of(
    status=either("ok"), ledger=str, waiting=int, screens=int, logs_asked=int, checkpoint=(dict, None), outboxes=dict,
)  # fmt: skip
