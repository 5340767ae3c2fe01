"""What the pages of machines show."""

from dataclasses import dataclass

from service.pages.views import Choice, FactRow, LoadLine, Need


@dataclass(frozen=True, slots=True)
class MachineLine:
    """`stopped` says why; `late` names the services that are overdue."""

    code: str
    name: str
    kind: str
    stopped: str
    late: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MachinesPage:
    template = "machines.html"
    title: str
    machines: tuple[MachineLine, ...]


@dataclass(frozen=True, slots=True)
class ServiceLine:
    what: str
    at: str
    due: str
    late: bool


@dataclass(frozen=True, slots=True)
class ChartPart:
    """A chart, or why there is none."""

    svg: str
    note: str


@dataclass(frozen=True, slots=True)
class MachinePage:
    """`since` and `until` are the days somebody chose as baseline."""

    template = "machine.html"
    title: str
    code: str
    rows: tuple[tuple[str, str], ...]
    stopped: str
    services: tuple[ServiceLine, ...]
    drifts: tuple[Need, ...]
    programmes: tuple[Choice, ...]
    baselines: tuple[Choice, ...]
    rules: tuple[Choice, ...]
    rules_said: str
    charts: tuple[ChartPart, ...]
    loads: tuple[LoadLine, ...]
    months: tuple[Choice, ...]
    facts: tuple[FactRow, ...]
    programme: str
    since: str
    until: str
    steriliser: bool


@dataclass(frozen=True, slots=True)
class MonthLine:
    """A load on the sheet of a month."""

    code: str
    number: str
    when: str
    what: str
    verdict: str
    measured: str
    tests: str
    release: str


@dataclass(frozen=True, slots=True)
class MonthPage:
    template = "month.html"
    title: str
    name: str
    code: str
    month: str
    summary: str
    loads: tuple[MonthLine, ...]
    facts: tuple[FactRow, ...]
