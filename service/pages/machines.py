"""A machine's page: what it is, its log, how it does over time; the list of machines; the sheet of a month."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import cast
from urllib.parse import urlencode

from service.custody.facts import Fact, stamp
from service.custody.records import Load, Machine
from service.pages.load import load_line
from service.pages.looks import Looks
from service.pages.machine_views import (
    ChartPart,
    MachineLine,
    MachinePage,
    MachinesPage,
    MonthLine,
    MonthPage,
    ServiceLine,
)
from service.pages.trends import Trend, drifting, judged, programmes, trends
from service.pages.views import Choice, Need
from service.steam.control import FEWEST, RULE_SETS, THREE_SIGMA, ChartError, RuleSet
from service.words.name import Name

SHOWN = 20
"""How many of its last loads a machine's page lists."""
_MOST_A_MONTH = 5000
_BASELINES = {"": "First half, or 20", "10": "First 10", "30": "First 30", "service": "Since the last service"}


class PeriodError(ValueError):
    """A month or a day that is none: what was asked, and what is meant."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What somebody chose to see of a machine; an empty text is no choice."""

    programme: str = ""
    baseline: str = ""
    since: str = ""
    until: str = ""
    rules: str = ""


def machines_page(looks: Looks) -> MachinesPage:
    lines = []
    for machine in looks.state.machines():
        late = [line.what for line in _services(looks, machine) if line.late]
        lines.append(MachineLine(machine.code, Name(machine.name), machine.kind, machine.stopped or "", tuple(late)))
    return MachinesPage("Machines", tuple(lines))


def machine_page(looks: Looks, machine: Machine, asked: Asked) -> MachinePage:
    loads = judged(looks, machine)
    ran = programmes(loads)
    programme = asked.programme if asked.programme in ran else next(iter(ran), "")
    rules = RULE_SETS.get(asked.rules, THREE_SIGMA)
    found = list(trends(machine, loads, programme))
    charts = tuple(_chart(looks, trend, asked, rules) for trend in found)
    latest = looks.reader.latest(machine.code, SHOWN)[::-1]
    history = looks.reader.history("machine", machine.code)
    link = _Links(machine.code, asked)
    return MachinePage(
        Name(machine.name), machine.code, tuple(_rows(machine)), machine.stopped or "",
        tuple(_services(looks, machine)),
        tuple(drifting(looks, machine)),
        tuple(Choice(name, link(programme=name), name == programme) for name in ran),
        tuple(Choice(words, link(baseline=key, since="", until=""), key == asked.baseline and not asked.since)
              for key, words in _BASELINES.items()),
        tuple(Choice(name, link(rules=name), name == rules.name) for name in RULE_SETS),
        f"By the rules {rules.name} a steady machine gives a false alarm every {rules.every:g} loads, on average.",
        charts, tuple(load_line(looks, load) for load in latest), _months(looks, machine, latest, history),
        looks.facts(history[::-1]), programme, asked.since, asked.until, machine.kind == "steriliser",
    )  # fmt: skip


class _Links:
    """Addresses of a machine's page that keep all that was chosen but for what they change."""

    def __init__(self, code: str, asked: Asked) -> None:
        self.code = code
        self.kept = {name: getattr(asked, name) for name in ("programme", "baseline", "since", "until", "rules")}

    def __call__(self, **changes: str) -> str:
        chosen = {name: value for name, value in (self.kept | changes).items() if value}
        return f"/machines/{self.code}?{urlencode(chosen)}" if chosen else f"/machines/{self.code}"


def _rows(machine: Machine) -> list[tuple[str, str]]:
    rows = [("Kind", machine.kind)]
    if machine.removal:
        rows.append(("Air removal", machine.removal))
    if machine.programmes:
        rows.append(("Programmes", Name(", ".join(machine.programmes))))
    if machine.counter is not None:
        rows.append(("Counter", str(machine.counter)))
    return rows


def _services(looks: Looks, machine: Machine) -> list[ServiceLine]:
    """The latest of each kind of service, what is overdue first."""
    today, lines = looks.day(looks.now), []
    for what, at, due in machine.services:
        late = due is not None and date.fromisoformat(due) < today
        said = looks.period(date.fromisoformat(due), date.fromisoformat(due)) if due else ""
        lines.append(ServiceLine(what, looks.said(at), said, late))
    return sorted(lines, key=lambda line: (not line.late, line.what))


def _chart(looks: Looks, trend: Trend, asked: Asked, rules: RuleSet) -> ChartPart:
    try:
        return ChartPart(trend.drawn(looks, _baseline(looks, trend, asked), rules), "")
    except ChartError as error:
        return ChartPart("", f"{trend.measure.title}: {error}.")


def _baseline(looks: Looks, trend: Trend, asked: Asked) -> slice | None:
    """The stretch somebody chose; None leaves the choice to the chart."""
    days = [looks.day(load.began_at) for load in trend.loads]
    if asked.since or asked.until:
        first = _day(asked.since) if asked.since else days[0]
        last = _day(asked.until) if asked.until else days[-1]
        return slice(sum(day < first for day in days), sum(day <= last for day in days))
    if asked.baseline == "service":
        last_at = max((at for what, at, _ in trend.machine.services if what in {"service", "repair"}), default="")
        start = sum(load.began_at < last_at for load in trend.loads)
        return slice(start, start + 20)
    return slice(max(int(asked.baseline), FEWEST)) if asked.baseline in {"10", "30"} else None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise PeriodError(f"{text[:20]!r} is no day: write it like 2026-03-04") from error


def _months(looks: Looks, machine: Machine, latest: list[Load], history: list[Fact]) -> tuple[Choice, ...]:
    """The months that have a sheet, the latest first: of the loads and the log that are shown."""
    days = {looks.day(at).replace(day=1) for at in (*(load.began_at for load in latest), *(f.at for f in history))}
    return tuple(
        Choice(f"{day:%Y-%m}", f"/machines/{machine.code}/{day:%Y-%m}", chosen=False)
        for day in sorted(days, reverse=True)[:12]
    )


def month_page(looks: Looks, machine: Machine, month: str) -> MonthPage:
    """Everything of one machine in one month of the site's own time, to print and file."""
    try:
        first = datetime.strptime(month, "%Y-%m").date()  # noqa: DTZ007  (a month has no zone)
    except ValueError as error:
        raise PeriodError(f"{month[:20]!r} is no month: write it like 2026-03") from error
    after = (first + timedelta(days=31)).replace(day=1)
    since, until = (stamp(datetime.combine(day, time(), looks.zone)) for day in (first, after))
    found = cast("list[Load]", looks.reader.between("load", since, until, _MOST_A_MONTH))
    loads = [load for load in found if load.machine == machine.code]
    log = [fact for fact in looks.reader.history("machine", machine.code) if since <= fact.at < until]
    passed = sum(load.verdict == "pass" for load in loads)
    released, rejected = sum(bool(load.released_at) for load in loads), sum(bool(load.rejected) for load in loads)
    summary = f"{len(loads)} loads, {passed} judged pass, {released} released, {rejected} rejected."
    return MonthPage(
        f"{machine.name} {month}", Name(machine.name), machine.code,
        looks.period(first, after - timedelta(days=1)), summary,
        tuple(_month_line(looks, load) for load in loads), looks.facts(log),
    )  # fmt: skip


def _month_line(looks: Looks, load: Load) -> MonthLine:
    what = (
        ", ".join(part for part in (load.programme, load.load_kind) if part)
        if load.steam
        else f"{len(load.packs)} sets"
    )
    values = []
    if load.plateau_c_hundredths is not None:
        values.append(f"{load.plateau_c_hundredths / 100:.2f} °C")
    if load.hold_s is not None:
        values.append(f"{load.hold_s} s")
    if load.f0_hundredths is not None:
        values.append(f"F0 {load.f0_hundredths / 100:.2f} min")
    tests = []
    if load.air_removal:
        tests.append(f"air removal {load.air_removal}")
    if load.biological_lot:
        tests.append(f"biological {load.biological or 'not yet read'}")
    end = ""
    if load.rejected:
        end = f"rejected: {load.rejected}"
    elif load.released_at:
        end = f"released {looks.said(load.released_at)} by {looks.who(load.released_by)}"
    return MonthLine(
        load.code, load.code[7:11], looks.said(load.began_at), what, load.verdict or load.result or "not judged",
        ", ".join(values), ", ".join(tests), end,
    )  # fmt: skip


def drift_lines(looks: Looks) -> list[Need]:
    """One line of the board for each steriliser with a measure that drifts."""
    found = []
    for machine in looks.state.machines():
        if machine.kind == "steriliser":
            found += drifting(looks, machine)[:1]
    return found
