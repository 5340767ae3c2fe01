"""A station's day: what happened there in order, what was refused, and when it stood still."""

import math
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

from service.custody.facts import Fact, moment, stamp
from service.pages.days import bounds, days
from service.pages.drawing import day_strip
from service.pages.looks import Looks, span, told
from service.pages.views import DayLine, DayPage, Mark, Told
from service.stations.scan import ScanError

QUIET = timedelta(minutes=30)
"""A stretch without a fact longer than this is drawn and named."""
_HOUR, _USUAL = timedelta(hours=1), (time(7), time(19))
_LEFT_OUT = {"code", "rule", "number", "of", "undo", "log_sha256", "case"}


def day_page(looks: Looks, station: str, asked: str) -> DayPage:
    """The day that `asked` names, today where it names none. Raises ScanError when that is no day."""
    today = looks.day(looks.now)
    found = days(asked or "today", today)
    if found is None:
        raise ScanError("date", f"{asked[:40]!r} is no day such as {today.isoformat()}")
    day = found[0]
    facts = looks.reader.at_station(station, *bounds(day, day, looks.zone))
    undone = {fact.data["of"] for fact in facts if fact.kind == "amended" and fact.data["undo"]}
    lines = tuple(_line(looks, fact, before, undone) for before, fact in zip([None, *facts], facts, strict=False))
    refused = sum(fact.kind == "refused" for fact in facts)
    said = f"{len(facts)} {'fact' if len(facts) == 1 else 'facts'}, {refused} refused"
    kind, number = station.rsplit("-", 1)
    strip = _strip(looks, day, facts, undone, said)
    return DayPage(
        f"{kind.capitalize()} {number}", station, f"{day:%A %-d %B %Y}", said, strip, lines,
        _link(station, day - timedelta(days=1)), _link(station, day + timedelta(days=1)) if day < today else "",
    )  # fmt: skip


def _link(station: str, day: date) -> str:
    return f"/stations/{station}/day?date={day.isoformat()}"


def _line(looks: Looks, fact: Fact, before: Fact | None, undone: set[str]) -> DayLine:
    quiet = moment(fact.at) - moment(before.at) if before else timedelta()
    late = looks.late(fact)
    name, link = _subject(looks, fact)
    return DayLine(
        looks.clock(fact.at), fact.kind.replace("_", " "), name, link, _about(fact), looks.who(fact.by),
        f"noted {span(late)} late" if late else "", fact.kind == "refused", fact.id in undone,
        f"Nothing for {span(quiet)}" if quiet > QUIET else "",
    )  # fmt: skip


def _subject(looks: Looks, fact: Fact) -> tuple[str, str]:
    """What a fact is about, as people call it, and its page."""
    if fact.pack and (pack := looks.state.pack(fact.pack)):
        return f"{looks.set_name(pack.set)}, turn {pack.turn}", f"/packs/{fact.pack}"
    if fact.load and (load := looks.state.load(fact.load)):
        return looks.load_name(load), f"/loads/{fact.load}"
    if fact.patient:
        return looks.patient(fact.patient), ""
    return (looks.set_name(fact.set), f"/sets/{fact.set}") if fact.set else ("", "")


def _about(fact: Fact) -> Told:
    return ((f"{fact.data['code']}:", fact.data["why"]),) if fact.kind == "refused" else told(fact, _LEFT_OUT)


def _strip(looks: Looks, day: date, facts: list[Fact], undone: set[str], said: str) -> str:
    """The day as a picture: from seven to seven, or for as long as something happened."""
    if not facts:
        return ""
    times = [moment(fact.at) for fact in facts]
    morning, evening = (datetime.combine(day, hour, looks.zone).astimezone(UTC) for hour in _USUAL)
    first = min(times[0].replace(minute=0, second=0, microsecond=0), morning)
    hours = max(math.ceil((max(times[-1], evening) - first) / _HOUR), 1)

    def place(at: datetime) -> float:
        return (at - first) / (hours * _HOUR)

    kinds = ("refused" if fact.kind == "refused" else "undone" if fact.id in undone else "done" for fact in facts)
    marks = [Mark(place(at), kind) for at, kind in zip(times, kinds, strict=True)]
    quiet = [(place(one), place(two), span(two - one)) for one, two in pairwise(times) if two - one > QUIET]
    ticks = [looks.clock(stamp(first + hour * _HOUR)) for hour in range(hours + 1)]
    return day_strip(marks, quiet, ticks, said)
