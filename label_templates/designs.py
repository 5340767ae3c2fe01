"""Designs: what each kind of label says. How it is laid out is `layout`'s business."""

from dataclasses import dataclass
from datetime import date, datetime

from label_templates import codes

PATTERNS = ("solid", "two bars", "dots", "diagonals", "waves", "checks")
SCAN_FIRST = "Scan before opening"


class DesignError(ValueError):
    """A label that cannot be drawn as asked."""


@dataclass(frozen=True, slots=True)
class Mark:
    """How a set's instruments are told apart: a tape colour of the practice's choice, always with a pattern too."""

    colour: str
    pattern: str

    def __post_init__(self) -> None:
        if self.pattern not in PATTERNS:
            raise DesignError(f"no pattern is named {self.pattern[:40]!r}: there are {', '.join(PATTERNS)}")

    @property
    def words(self) -> str:
        return f"{self.colour}, {self.pattern}"


@dataclass(frozen=True, slots=True)
class Face:
    """What is drawn: a code as symbols, a title, lines (text, bold), a last line, and the mark's band."""

    code: str
    title: str
    lines: tuple[tuple[str, bool], ...] = ()
    foot: str = ""
    mark: Mark | None = None
    bars: bool = False
    """Whether a Code 128 stands beside the QR code."""
    under: str | None = None
    """What stands under the symbol, where that is not its code."""
    level: str = "Q"
    """The QR code's error correction."""


def _said(moment: str) -> tuple[str, str]:
    """The day and the hour of a time, as a label says them."""
    try:
        found = datetime.fromisoformat(moment)
    except ValueError as error:
        raise DesignError(f"{moment!r} is not a time such as 2026-03-04T10:12") from error
    return f"{found:%-d %B %Y}", f"{found:%H:%M}"


@dataclass(frozen=True, slots=True)
class SetTag:
    """The heat-proof tag that lives with a set."""

    code: str
    name: str
    mark: Mark | None = None
    copy: int = 0

    def face(self) -> Face:
        codes.parse_as(self.code, "S")
        lines = ((self.mark.words, False),) if self.mark else ()
        return Face(self.code, self.name, lines, mark=self.mark, bars=True)


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

    def face(self) -> Face:
        turn = codes.parse_as(self.code, "P").turn
        lines: list[tuple[str, bool]] = [(f"SHORT  {line}", True) for line in self.short]
        lines.append((f"Turn {turn}{f', {self.mark.words}' if self.mark else ''}", False))
        if self.packed_at:
            day, hour = _said(self.packed_at)
            lines.append((f"Packed {day}", False))
            lines.append((f"{hour} by {self.packed_by}" if self.packed_by else hour, False))
        return Face(self.code, self.name, tuple(lines), SCAN_FIRST, self.mark)


@dataclass(frozen=True, slots=True)
class LoadCard:
    """The card of one load to come, laid with the machine until it is used."""

    code: str
    machine: str
    copy: int = 0

    def face(self) -> Face:
        load = codes.parse_as(self.code, "L", "W")
        kind = "Steam load" if load.letter == "L" else "Wash load"
        return Face(self.code, f"{kind} {load.number:04d}", ((self.machine, False),), "For one load only", bars=True)


@dataclass(frozen=True, slots=True)
class LoadSlip:
    """Printed at loading: what a pack label could not know yet, in words."""

    load: str
    machine: str
    sterilised_on: date
    use_by: date | None
    copy: int = 0

    def face(self) -> Face:
        number = codes.parse_as(self.load, "L").number
        use_by = f"Use by {self.use_by:%-d %B %Y}" if self.use_by else "No date: look at the wrap"
        lines = ((f"Load {number:04d}, {self.machine}", False), (f"In steam {self.sterilised_on:%-d %B %Y}", False))
        return Face(self.load, use_by, lines, SCAN_FIRST)


@dataclass(frozen=True, slots=True)
class BadgeLabel:
    """A badge; the title is what the practice calls the person at work."""

    code: str
    title: str
    copy: int = 0

    def face(self) -> Face:
        number = codes.parse_as(self.code, "B").number
        return Face(self.code, self.title or f"Badge {number:03d}", ((f"Badge {number:03d}", False),))


@dataclass(frozen=True, slots=True)
class ShelfLabel:
    """A storage place."""

    code: str
    name: str
    copy: int = 0

    def face(self) -> Face:
        number = codes.parse_as(self.code, "H").number
        return Face(self.code, f"Shelf {number}", ((self.name, False),) if self.name else ())


@dataclass(frozen=True, slots=True)
class PatientCard:
    """A provisional patient code from the pre-printed roll."""

    code: str
    name: str = ""
    copy: int = 0

    def face(self) -> Face:
        codes.parse_as(self.code, "A")
        return Face(self.code, self.name or "Patient", () if self.name else (("Name: ______________", False),))


@dataclass(frozen=True, slots=True)
class InstrumentLabel:
    """A code for one instrument of its own; the title is what it is called."""

    code: str
    name: str = ""
    copy: int = 0

    def face(self) -> Face:
        number = codes.parse_as(self.code, "I").number
        return Face(self.code, self.name or f"Instrument {number:05d}")


@dataclass(frozen=True, slots=True)
class BenchCard:
    """A printed card scanned instead of pressing a key."""

    code: str
    word: str
    meaning: str
    copy: int = 0

    def face(self) -> Face:
        codes.parse_as(self.code, "K")
        return Face(self.code, self.word, ((self.meaning, False),))


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

    def face(self) -> Face:
        day, hour = _said(self.at)
        lines = ((f"{self.size} facts, site {self.site}", True), (day, False), (f"{hour} UTC", False),
                 (f"Key {self.key[:16]}", False), ("Sign here:", False))  # fmt: skip
        return Face(self.code, "Checkpoint", lines, "For the log book", under=self.practice[:24], level="M")


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
