"""Labels: what each kind of label says, field by field. Where it stands is a design's business."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar

from label_templates import codes

PATTERNS = ("solid", "two bars", "dots", "diagonals", "waves", "checks")
TIGHT = "\u00a0"
"""A space at which no line is broken: dates and times stay whole."""
SCAN_FIRST = "Scan before opening"
Words = dict[str, str | tuple[str, ...]]
"""What a label says, by field; a field may have several entries, and an empty one is left out."""


class LabelError(ValueError):
    """A label that cannot say what it was asked to."""


@dataclass(frozen=True, slots=True)
class Mark:
    """How a set's instruments are told apart: a tape colour of the practice's choice, always with a pattern too."""

    colour: str
    pattern: str

    def __post_init__(self) -> None:
        if self.pattern not in PATTERNS:
            raise LabelError(f"no pattern is named {self.pattern[:40]!r}: there are {', '.join(PATTERNS)}")

    @property
    def words(self) -> str:
        return f"{self.colour}, {self.pattern}"


def _day(day: date) -> str:
    return f"{day:%-d}{TIGHT}{day:%B}{TIGHT}{day:%Y}"


def _said(moment: str) -> tuple[str, str]:
    """The day and the hour of a time, as a label says them."""
    try:
        found = datetime.fromisoformat(moment)
    except ValueError as error:
        raise LabelError(f"{moment!r} is not a time such as 2026-03-04T10:12") from error
    return _day(found), f"{found:%H:%M}"


def _copy(number: int) -> str:
    """How a label that is printed again says so; the first one says nothing."""
    return f"COPY {number}" if number > 1 else ""


@dataclass(frozen=True, slots=True)
class SetTag:
    """The heat-proof tag that lives with a set."""

    code: str
    name: str
    mark: Mark | None = None
    copy: int = 0
    kind: ClassVar[str] = "set"

    def words(self) -> Words:
        codes.parse_as(self.code, "S")
        return {"name": self.name, "mark": self.mark.words if self.mark else "", "copy": _copy(self.copy)}


@dataclass(frozen=True, slots=True)
class PackLabel:
    """The label of one turn of a set. Load, date and use-by are not known yet when it is printed."""

    code: str
    name: str
    mark: Mark | None
    packed_by: str
    packed_at: str
    short: tuple[str, ...] = ()
    copy: int = 0
    kind: ClassVar[str] = "pack"

    def words(self) -> Words:
        turn = codes.parse_as(self.code, "P").turn
        day, hour = _said(self.packed_at) if self.packed_at else ("", "")
        by = f"{hour} by {self.packed_by}" if hour and self.packed_by else hour
        return {
            "name": self.name,
            "turn": f"Turn {turn}, {self.mark.words}" if self.mark else f"Turn {turn}",
            "packed": f"Packed {day}" if day else "",
            "packed_by": by,
            "short": tuple(f"SHORT  {line}" for line in self.short),
            "first": SCAN_FIRST,
            "copy": _copy(self.copy),
        }


@dataclass(frozen=True, slots=True)
class LoadCard:
    """The card of one load to come, laid with the machine until it is used."""

    code: str
    machine: str
    copy: int = 0
    kind: ClassVar[str] = "load"

    def words(self) -> Words:
        load = codes.parse_as(self.code, "L", "W")
        said = "Steam load" if load.letter == "L" else "Wash load"
        return {
            "name": f"{said} {load.number:04d}",
            "machine": self.machine,
            "once": "For one load only",
            "copy": _copy(self.copy),
        }


@dataclass(frozen=True, slots=True)
class LoadSlip:
    """Printed at loading: what a pack label could not know yet, in words."""

    code: str
    machine: str
    sterilised_on: date
    use_by: date | None
    copy: int = 0
    kind: ClassVar[str] = "slip"

    def words(self) -> Words:
        number = codes.parse_as(self.code, "L").number
        return {
            "use_by": f"Use by {_day(self.use_by)}" if self.use_by else "No date: look at the wrap",
            "load": f"Load {number:04d}, {self.machine}",
            "sterilised": f"In steam {_day(self.sterilised_on)}",
            "first": SCAN_FIRST,
            "copy": _copy(self.copy),
        }


@dataclass(frozen=True, slots=True)
class BadgeLabel:
    """A badge; the title is what the practice calls the person at work."""

    code: str
    title: str
    copy: int = 0
    kind: ClassVar[str] = "badge"

    def words(self) -> Words:
        said = f"Badge {codes.parse_as(self.code, 'B').number:03d}"
        return {"name": self.title or said, "number": said if self.title else "", "copy": _copy(self.copy)}


@dataclass(frozen=True, slots=True)
class ShelfLabel:
    """A storage place."""

    code: str
    name: str
    copy: int = 0
    kind: ClassVar[str] = "shelf"

    def words(self) -> Words:
        number = codes.parse_as(self.code, "H").number
        return {"name": f"Shelf {number}", "what": self.name, "copy": _copy(self.copy)}


@dataclass(frozen=True, slots=True)
class PatientCard:
    """A provisional patient code from the pre-printed roll."""

    code: str
    name: str = ""
    copy: int = 0
    kind: ClassVar[str] = "patient"

    def words(self) -> Words:
        codes.parse_as(self.code, "A")
        return {
            "name": self.name or "Patient",
            "to_write": "" if self.name else "Name: ______________",
            "copy": _copy(self.copy),
        }


@dataclass(frozen=True, slots=True)
class InstrumentLabel:
    """An instrument that is followed by itself."""

    code: str
    name: str = ""
    copy: int = 0
    kind: ClassVar[str] = "instrument"

    def words(self) -> Words:
        number = codes.parse_as(self.code, "I").number
        return {"name": self.name or f"Instrument {number:05d}", "copy": _copy(self.copy)}


@dataclass(frozen=True, slots=True)
class BenchCard:
    """A printed card scanned instead of pressing a key."""

    code: str
    word: str
    meaning: str
    copy: int = 0
    kind: ClassVar[str] = "card"

    def words(self) -> Words:
        codes.parse_as(self.code, "K")
        return {"name": self.word, "meaning": self.meaning, "copy": _copy(self.copy)}


@dataclass(frozen=True, slots=True)
class CheckpointSlip:
    """A signed checkpoint for the paper log book. Its code is the checkpoint's line, of a few hundred characters."""

    code: str
    practice: str
    site: str
    size: int
    at: str
    key: str
    copy: int = 0
    kind: ClassVar[str] = "checkpoint"

    def words(self) -> Words:
        day, hour = _said(self.at)
        return {
            "name": "Checkpoint",
            "practice": self.practice,
            "facts": f"{self.size} facts, site {self.site}",
            "day": day,
            "hour": f"{hour} UTC",
            "key": f"Key {self.key[:16]}",
            "sign": "Sign here:",
            "book": "For the log book",
            "copy": _copy(self.copy),
        }


@dataclass(frozen=True, slots=True)
class OutageForm:
    """A page for a day without the service: what happens is written down, with codes that are scanned in afterwards."""

    practice: str
    codes_: tuple[tuple[str, str], ...]
    """What each code stands for, and the code: loads and patients issued for the day, and bench cards."""
    copy: int = 0
    kind: ClassVar[str] = "outage"

    @property
    def code(self) -> str:
        return self.codes_[0][1]

    def words(self) -> Words:
        for _, code in self.codes_:
            codes.parse(code)
        return {
            "name": "A day without the service",
            "practice": self.practice,
            "how": "Write a line for each step. When the service is back, scan the lines in from the top.",
            "rule": "No scan has been checked today: the paper rule holds. Look at tape, wrap and date yourself.",
            "copy": _copy(self.copy),
        }


Label = (
    SetTag
    | PackLabel
    | LoadCard
    | LoadSlip
    | BadgeLabel
    | ShelfLabel
    | PatientCard
    | InstrumentLabel
    | BenchCard
    | CheckpointSlip
    | OutageForm
)

_MEANINGS = {
    "DONE": "this step is finished",
    "END": "the cycle has ended",
    "OUT": "a pack comes out again",
    "WET": "the last pack is wet",
    "TORN": "the last pack is torn",
    "DROPPED": "the last pack was dropped",
    "TURNED": "the strip has turned",
    "PALE": "the tape or strip is pale",
    "UNSURE": "the strip cannot be told",
    "RETURN": "a sealed pack goes back",
    "UNUSED": "opened, and not used",
    "PASS": "it went well",
    "FAIL": "it did not",
    "UNDO": "take back the last scan",
    "YES": "yes, or as listed",
    "NO": "no",
} | {str(digit): "a digit" for digit in range(10)}
BENCH_CARDS = tuple(BenchCard(codes.card_code(word).text, word, meaning) for word, meaning in _MEANINGS.items())
