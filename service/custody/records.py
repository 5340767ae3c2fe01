"""The rows read from the facts: one frozen record a thing, each folded from the facts that name it."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from operator import attrgetter
from typing import Any, TypeVar

Texts = tuple[str, ...]
R = TypeVar("R", bound="Record")


@dataclass(frozen=True, slots=True)
class Pack:
    """One turn of one set. Its place on the circle follows from these and its loads: `chain.state_of`."""

    code: str
    set: str
    turn: int
    enter: str
    received_at: str
    came_from: str | None = None
    rewash: bool = False
    wash: str | None = None
    clean: bool = False
    works: bool = True
    packed_at: str | None = None
    packed_by: str | None = None
    short: Texts = ()
    gauze: int = 0
    wrap: str | None = None
    strip_lot: str | None = None
    shelf_days: int | None = None
    implant: bool = False
    prints: int = 0
    labelled_at: str | None = None
    load: str | None = None
    loaded_at: str | None = None
    unloaded_at: str | None = None
    tape: str | None = None
    shelf: str | None = None
    opened_at: str | None = None
    patient: str | None = None
    case: str | None = None
    used: bool = True
    strip: str | None = None
    compromised: Texts = ()
    recalls: Texts = ()
    accounted: Texts = ()
    overridden: Texts = ()
    seen_at: str = ""
    seen_station: str = ""
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Load:
    """What goes through a machine together. `packs` are those in it and not taken out, in the order they went in."""

    code: str
    machine: str
    began_at: str
    packs: Texts = ()
    started_at: str | None = None
    started_seq: int = 0
    programme: str | None = None
    load_kind: str | None = None
    why: str | None = None
    ended_at: str | None = None
    display: str | None = None
    result: str | None = None
    verdict: str | None = None
    basis: str | None = None
    hold_s: int | None = None
    f0_hundredths: int | None = None
    plateau_c_hundredths: int | None = None
    heating_s: int | None = None
    drying_s: int | None = None
    log_sha256: str | None = None
    judged_at: str | None = None
    biological_lot: str | None = None
    control_lot: str | None = None
    biological_due: str | None = None
    biologicals: Texts = ()
    air_removal: str | None = None
    strips: Texts = ()
    released_at: str | None = None
    released_by: str | None = None
    alone: bool = False
    rejected: str | None = None
    held: str | None = None
    recalls: Texts = ()
    level_seq: int = 0
    seq: int = 0

    @property
    def steam(self) -> bool:
        return self.code[0] == "L"

    @property
    def biological(self) -> str | None:
        """negative, positive, void or None (nothing read). A positive outweighs whatever was read beside it."""
        if "positive" in self.biologicals:
            return "positive"
        if "negative" in self.biologicals:
            return "negative"
        return self.biologicals[-1] if self.biologicals else None

    @property
    def settled(self) -> bool:
        """Whether nobody has anything more to do with it: a test load, a rejected one, one released or washed.

        A hold unsettles a load again, and so does a biological that was placed and never read.
        """
        if self.rejected or self.load_kind not in {None, "goods"}:
            return True
        done = self.released_at or self.result
        return bool(done) and not self.held and (not self.biological_lot or bool(self.biologicals))


@dataclass(frozen=True, slots=True)
class InstrumentSet:
    """A set and its count sheet: lines of (group, line, count). `turn` is the last turn ever begun."""

    code: str
    name: str
    kind: str
    implant: bool
    sheet: tuple[tuple[str, str, int], ...] = ()
    mark_colour: str | None = None
    mark_pattern: str | None = None
    wrap: str = "double"
    bears_c: int | None = None
    hollow: bool = False
    immersible: bool = True
    turn: int = 0
    pack: str | None = None
    retired: str | None = None
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Machine:
    """A washer, a hand-wash sink or bath, or a steriliser, named like the first part of its load codes."""

    code: str
    kind: str
    removal: str | None
    name: str
    programmes: Texts = ()
    steps: Texts = ()
    stopped: str | None = None
    prove_since: int = 0
    """The `seq` of the stop since which its proving loads count; 0: it has nothing to prove."""
    air_removal_at: str | None = None
    services: tuple[tuple[str, str, str | None], ...] = ()
    """The latest of each kind of service: what, when, and the day the next one is due."""
    counter: int | None = None
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody with a badge. Names stand beside the ledger, not here."""

    code: str
    roles: Texts
    may_release: bool
    enrolled_at: str
    left_at: str | None = None
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Patient:
    """An animal the ledger has met. `now` is the code it was identified as later."""

    code: str
    now: str | None = None
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Case:
    """One operation on one patient: the packs opened for it and the counts made (item, moment, expected, found)."""

    code: str
    patient: str
    opened_at: str
    packs: Texts = ()
    counts: tuple[tuple[str, str, int, int], ...] = ()
    closed_at: str | None = None
    why: str | None = None
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Recall:
    """A recall opened on a load, and the packs it still has to account for."""

    code: str
    load: str
    reach: str
    why: str
    opened_at: str
    packs: Texts = ()
    accounted: Texts = ()
    closed_at: str | None = None
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Site:
    """A site, the last numbers it gave out (never given twice, even when undone), and its public key, in hex."""

    code: str
    name: str
    case: int = 0
    set: int = 0
    key: str | None = None
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Series:
    """Codes that differ in their number alone, named by their beginning, such as `A-K7`; the last number issued."""

    code: str
    last: int
    seq: int = 0


@dataclass(frozen=True, slots=True)
class IssuedLabel:
    """A code that was printed again or voided: how often it was printed, and why it counts no longer."""

    code: str
    prints: int = 0
    voided: str | None = None
    seq: int = 0


Record = Pack | Load | InstrumentSet | Machine | Person | Patient | Case | Recall | Site | Series | IssuedLabel
KINDS: dict[str, type[Record]] = {
    "pack": Pack,
    "load": Load,
    "set": InstrumentSet,
    "machine": Machine,
    "person": Person,
    "patient": Patient,
    "case": Case,
    "recall": Recall,
    "site": Site,
    "series": Series,
    "label": IssuedLabel,
}

_FIELDS: dict[type, tuple[str, ...]] = {cls: tuple(f.name for f in fields(cls)) for cls in KINDS.values()}
_PLACE: dict[type, dict[str, int]] = {
    cls: {name: place for place, name in enumerate(names)} for cls, names in _FIELDS.items()
}
_VALUES: dict[type, Callable[[Any], tuple[Any, ...]]] = {cls: attrgetter(*names) for cls, names in _FIELDS.items()}


def changed(record: R, **changes: Any) -> R:
    """`record` with some fields changed: `dataclasses.replace`, a third of its time, on the path of every scan."""
    cls: type[R] = type(record)
    values, place = list(_VALUES[cls](record)), _PLACE[cls]
    for name, value in changes.items():
        values[place[name]] = value
    return cls(*values)
