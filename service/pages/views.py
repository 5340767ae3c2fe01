"""What each page shows, and nothing else."""

from dataclasses import dataclass, field
from typing import Protocol

CAUTION = "Foldmark advises; the practice's own procedures, local codes and the licensed practitioner decide."


@dataclass(frozen=True, slots=True)
class Need:
    """Something that waits for somebody; `verdict` is the shape beside it."""

    verdict: str
    title: str
    text: str
    link: str
    mark: str | None = None
    """The colour of the mark of the set it is about."""
    held: bool = False


@dataclass(frozen=True, slots=True)
class Tile:
    """A set on the round: its pack's page, its name, its mark, whether somebody is needed, which filters show it."""

    name: str
    link: str
    pattern: str
    note: str = ""
    mark: str | None = None
    shows: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Timer:
    """Something that will be so at a time: the browser counts down to `at`, a stamp; `clock` is its local time."""

    words: str
    at: str
    clock: str
    link: str


@dataclass(frozen=True, slots=True)
class Choice:
    """A filter as a link, and whether it is the one that holds."""

    words: str
    link: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Segment:
    """One place on the round and the sets there."""

    state: str
    tiles: tuple[Tile, ...]


@dataclass(frozen=True, slots=True)
class BoardPage:
    """`now` is the moment it tells of, as a stamp; `show` and `mark` the filters that hold."""

    template = "board.html"
    title: str
    now: str
    said: str
    segments: tuple[Segment, ...]
    round_svg: str
    ready: int
    total: int
    needs: tuple[Need, ...]
    expiring: tuple[Need, ...]
    overdue: tuple[Need, ...]
    soiled: tuple[Need, ...]
    timers: tuple[Timer, ...]
    marks: tuple[str, ...] = ()
    choices: tuple[Choice, ...] = ()
    show: str = ""
    mark: str = ""


@dataclass(frozen=True, slots=True)
class BoardPart:
    """What changes of an open board, for its page to put in the place of what it shows."""

    template = "board_parts.html"
    board: BoardPage


Told = tuple[tuple[str, str], ...]
"""What a fact holds: names and values."""


@dataclass(frozen=True, slots=True)
class FactRow:
    at: str
    late: bool
    what: str
    about: Told
    where: str
    seal: str
    undone: bool


@dataclass(frozen=True, slots=True)
class Step:
    """A step on the custody line: when, by whom, and what is said of it."""

    name: str
    when: str = ""
    who: str = ""
    badge: str = ""
    words: str = ""
    kind: str = "ring"
    """`ring`, `bad` (it did not pass), `override`, `opening`, or `gap`: the step is missing."""
    news: tuple[str, ...] = ()
    """What was found out later, pointing down at this step."""
    late: str = ""
    """How long after it happened it was noted, where that was late."""
    stood_for: str = ""
    """Of an override: whether the surgeon confirmed it."""


@dataclass(frozen=True, slots=True)
class PackPage:
    template = "pack.html"
    title: str
    code: str
    set_code: str
    rows: tuple[tuple[str, str], ...]
    tags: tuple[str, ...]
    qr_svg: str
    line: tuple[Step, ...]
    gaps: tuple[str, ...]
    facts: tuple[FactRow, ...]
    unconfirmed: bool
    """Whether an override still waits for the surgeon's PIN."""


@dataclass(frozen=True, slots=True)
class PackLine:
    code: str
    name: str
    state: str
    flags: tuple[str, ...]
    place: str
    patients: tuple[str, ...] = ()
    accounted: bool = False


@dataclass(frozen=True, slots=True)
class LoadPage:
    template = "load.html"
    title: str
    code: str
    steam: bool
    rows: tuple[tuple[str, str], ...]
    tags: tuple[str, ...]
    standing: tuple[tuple[str, str], ...]
    packs: tuple[PackLine, ...]
    chart: str
    cycle_notes: tuple[str, ...]
    facts: tuple[FactRow, ...]
    may: frozenset[str] = frozenset()
    held: bool = False
    photos: tuple[tuple[str, str], ...] = ()
    criteria: tuple[tuple[str, str, str, str, str], ...] = ()
    kind: str = ""
    lots: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class LoadLine:
    code: str
    number: str
    machine: str
    when: str
    what: str
    tags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LoadsPage:
    template = "loads.html"
    title: str
    loads: tuple[LoadLine, ...]


@dataclass(frozen=True, slots=True)
class RecallPage:
    template = "recall.html"
    title: str
    load: str
    reach: str
    why: str
    reaches: tuple[tuple[str, str], ...]
    loads: tuple[str, ...]
    packs: tuple[PackLine, ...]
    patients: tuple[tuple[str, str], ...]
    recall: str | None
    opened: str
    closed: bool
    left: int
    advised: str = ""
    advised_words: str = ""
    advised_why: str = ""


@dataclass(frozen=True, slots=True)
class RecallsPage:
    template = "recalls.html"
    title: str
    recalls: tuple[tuple[str, str, str, str], ...]


@dataclass(frozen=True, slots=True)
class SheetLine:
    """A line of a count sheet, with its drawing as the inside of an SVG of 120 × 60."""

    line: str
    count: int
    drawing: str | None


Sheet = tuple[tuple[str, tuple[SheetLine, ...]], ...]
"""A count sheet: its groups, each with its lines."""


@dataclass(frozen=True, slots=True)
class SheetPart:
    """A count sheet alone, for a station's screen to put into its page."""

    template = "sheet_alone.html"
    sheet: Sheet


@dataclass(frozen=True, slots=True)
class SetPage:
    template = "set.html"
    title: str
    code: str
    rows: tuple[tuple[str, str], ...]
    sheet: Sheet
    retired: bool
    packs: tuple[PackLine, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """Something a search found; without a link it has no page of its own."""

    title: str
    link: str
    code: str
    words: str


@dataclass(frozen=True, slots=True)
class FoundGroup:
    title: str
    rows: tuple[Found, ...]
    note: str
    """That there is nothing, or more than is shown."""


@dataclass(frozen=True, slots=True)
class SearchPage:
    template = "search.html"
    title: str
    query: str
    period: str
    """The days that were understood, in words."""
    groups: tuple[FoundGroup, ...]


@dataclass(frozen=True, slots=True)
class StationsPage:
    template = "stations.html"
    title: str
    stations: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """Something on the strip of a day: where on it, from 0 to 1, and `done`, `refused` or `undone`."""

    at: float
    kind: str


@dataclass(frozen=True, slots=True)
class DayLine:
    """A fact of a station's day; `quiet` says how long nothing happened before it, where that was long."""

    at: str
    what: str
    subject: str
    link: str
    about: Told
    who: str
    late: str
    refused: bool
    undone: bool
    quiet: str


@dataclass(frozen=True, slots=True)
class DayPage:
    """`before` and `after` are the addresses of the days beside it; the present day has none after it."""

    template = "day.html"
    title: str
    station: str
    day: str
    said: str
    strip_svg: str
    lines: tuple[DayLine, ...]
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class StationPage:
    template = "station.html"
    title: str
    station: str
    verdict: str
    word: str
    headline: str
    detail: str
    next: str
    cards: tuple[tuple[str, str], ...]
    digits: tuple[tuple[str, str], ...]
    shapes: dict[str, str] = field(default_factory=dict)
    pattern: str = ""
    """What the practice's own wristbands look like, where they may be scanned."""


@dataclass(frozen=True, slots=True)
class SignInPage:
    """`next` is the page of ours to go on to."""

    template = "sign_in.html"
    title: str
    next: str


@dataclass(frozen=True, slots=True)
class StartPage:
    template = "start.html"
    title: str


@dataclass(frozen=True, slots=True)
class EnrolPage:
    template = "enrol.html"
    title: str


@dataclass(frozen=True, slots=True)
class PersonLine:
    badge: str
    name: str
    roles: str
    may_release: bool
    has_pin: bool


@dataclass(frozen=True, slots=True)
class DeviceLine:
    device: str
    name: str
    stations: str
    since: str
    revoked: str


@dataclass(frozen=True, slots=True)
class DoorLine:
    at: str
    what: str
    who: str
    address: str


@dataclass(frozen=True, slots=True)
class PeoplePage:
    template = "people.html"
    title: str
    people: tuple[PersonLine, ...]
    devices: tuple[DeviceLine, ...]
    sign_ins: tuple[DoorLine, ...]


@dataclass(frozen=True, slots=True)
class LimitsPage:
    template = "limits.html"
    title: str


@dataclass(frozen=True, slots=True)
class ProblemPage:
    template = "problem.html"
    title: str
    detail: str
    next: str


class Page(Protocol):
    """What is shown by a template, whole or a part of it: every view that names one."""

    template: str
