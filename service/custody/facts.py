"""Facts: what the ledger keeps. Past tense, one per thing that happened, never changed, only amended."""

import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

Data = dict[str, Any]

REQUIRED: Final[dict[str, frozenset[str]]] = {
    kind: frozenset(keys.split())
    for kind, keys in {
        "site_opened": "name",
        "key_named": "key was vouched",
        "staff_enrolled": "badge roles",
        "staff_left": "badge",
        "machine_registered": "machine kind removal",
        "machine_stopped": "machine why",
        "machine_returned": "machine",
        "machine_serviced": "machine what counter next_due why",
        "set_registered": "kind implant sheet",
        "set_changed": "sheet why",
        "set_retired": "why",
        "received": "turn enter",
        "wash_loaded": "",
        "wash_ended": "result steps",
        "inspected": "clean dry works",
        "packed": "lines short wrap strip_lot mass_g implant",
        "label_printed": "",
        "codes_issued": "series first count",
        "code_voided": "code why",
        "labelled": "",
        "loaded": "",
        "taken_out": "",
        "unloaded": "dry whole tape",
        "stored": "shelf",
        "opened": "",
        "returned": "",
        "compromised": "why",
        "cycle_started": "programme load_kind",
        "cycle_ended": "display",
        "cycle_judged": "verdict basis hold_s f0_hundredths log_sha256",
        "released": "alone",
        "rejected": "why",
        "held": "why",
        "indicator_placed": "indicator lot control_lot due",
        "indicator_read": "indicator result lot",
        "photo_kept": "of sha256",
        "case_opened": "case",
        "patient_identified": "was",
        "counted": "item moment expected found",
        "case_closed": "case",
        "recall_opened": "recall reach why",
        "recalled": "recall",
        "accounted": "recall",
        "recall_closed": "recall",
        "amended": "of undo why",
        "refused": "code rule why",
        "overridden": "rule why confirmed",
        "override_confirmed": "of late",
        "instrument_serviced": "",
        "instrument_replaced": "",
        "instrument_moved": "from to",
    }.items()
}
KINDS: Final = frozenset(REQUIRED)
KEYS: Final = (
    "seq", "id", "kind", "at", "noted_at", "site", "station", "by",
    "set", "pack", "load", "patient", "data", "prev", "hash",
)  # fmt: skip
LARGEST_INTEGER: Final = 2**53 - 1  # RFC 7493: beyond it a JSON reader may round


class FactError(ValueError):
    """A fact that must not be written, with the reason."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact. The last five fields are given by the ledger when it is written.

    Times are RFC 3339 in UTC with milliseconds and `Z`, so that they sort as text.
    """

    kind: str
    at: str
    site: str
    station: str
    by: str | None
    set: str | None
    pack: str | None
    load: str | None
    patient: str | None
    data: Data
    seq: int = 0
    id: str = ""
    noted_at: str = ""
    prev: str = ""
    hash: str = ""

    def as_dict(self) -> Data:
        """The fifteen keys of the exported form, in its order."""
        return {key: getattr(self, key) for key in KEYS}

    @classmethod
    def from_dict(cls, row: Data) -> "Fact":
        """The fact of an exported object. Raises FactError naming the key that is missing or foreign."""
        if strange := set(row) ^ set(KEYS):
            raise FactError(f"a fact has exactly the keys {', '.join(KEYS)}; check {', '.join(sorted(strange))}")
        return cls(**row)


def check(fact: Fact) -> None:
    """Raise FactError unless `fact` may be written: known kind, its least data there, integers and NFC text."""
    needed = REQUIRED.get(fact.kind)
    if needed is None:
        raise FactError(f"{fact.kind!r} is not a kind of fact")
    if missing := needed - fact.data.keys():
        raise FactError(f"a {fact.kind} fact needs {', '.join(sorted(missing))} in its data")
    _check_value(fact.data, fact.kind)


def _check_value(value: Any, where: str) -> None:
    if value is None or value is True or value is False:
        return
    if isinstance(value, str):
        if not value.isascii() and not unicodedata.is_normalized("NFC", value):
            raise FactError(f"text in {where} is not NFC")
        if any("\ud800" <= letter <= "\udfff" for letter in value):
            raise FactError(f"text in {where} holds half a character")
    elif isinstance(value, int):
        if abs(value) > LARGEST_INTEGER:
            raise FactError(f"the number {value} in {where} is too large")
    elif isinstance(value, dict):
        for key, inner in value.items():
            _check_value(inner, f"{where}.{key}")
    elif isinstance(value, list | tuple):
        for inner in value:
            _check_value(inner, where)
    else:
        raise FactError(f"{where} holds a {type(value).__name__}: facts hold text, integers, true, false and null")


def stamp(moment: datetime) -> str:
    """`moment` as facts write it: RFC 3339, UTC, milliseconds, `Z`. Raises FactError without a time zone."""
    if moment.tzinfo is None:
        raise FactError(f"the time {moment.isoformat()} has no time zone")
    return moment.astimezone(UTC).isoformat(timespec="milliseconds")[:23] + "Z"


def moment(text: str) -> datetime:
    """The time a fact's stamp, or any RFC 3339 text with a zone, stands for. Raises FactError."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError as error:
        raise FactError(f"{text!r} is not an RFC 3339 time such as 2026-03-04T07:12:09.120Z") from error
    if found.tzinfo is None:
        raise FactError(f"the time {text!r} has no zone: end it with Z or +01:00")
    return found
