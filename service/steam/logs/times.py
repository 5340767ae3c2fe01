"""Times to seconds since the log began: elapsed or by the clock, over midnight and over the change of summer time."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

import numpy as np
from numpy.typing import NDArray

from service.steam.cycle import CycleError, Series
from service.steam.logs.readings import MISSING
from service.steam.logs.text import shown

Indices = NDArray[np.intp]
DAY_S = 86_400
_EPOCH = date(1970, 1, 1).toordinal()
FIRST_YEAR, LAST_YEAR = 1980, 2100
"""Before and after, a logger's clock was never set."""
_CLOCK = re.compile(
    r"(?:(\d{1,4}[./-]\d{1,2}[./-]\d{1,4})(?:T|,?\s+))?(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,6}))?)?"
    r"\s*([AaPp]\.?[Mm]\.?)?\s*(Z|[+-]\d{2}:?\d{2})?", re.ASCII,
)  # fmt: skip
_DATE = re.compile(r"(\d{1,4})[./-](\d{1,2})[./-](\d{1,4})", re.ASCII)
_ELAPSED = re.compile(r"(\d{1,6}):(\d{2})(?::(\d{2}))?(?:[.,](\d{1,6}))?", re.ASCII)
_PLACES = {"hours:minutes": (3600, 60), "minutes:seconds": (60, 1), "hours:minutes:seconds": (3600, 60, 1)}


@dataclass(frozen=True, slots=True)
class Moments:
    """Seconds of each reading from the first, NaN where there was none; when the first one was, if a date is known."""

    seconds: Series
    started_at: datetime | None


def fraction(digits: str | None) -> float:
    return float(f"0.{digits}") if digits else 0.0


def elapsed(cells: list[str], lines: list[int], title: str, form: str) -> Series:
    """Seconds of times such as `12:30` or `0:12:30.5` in a form of elapsed time."""
    places = _PLACES[form]
    found = np.full(len(cells), np.nan)
    for i, (cell, line) in enumerate(zip(cells, lines, strict=True)):
        if cell.strip() in MISSING:
            continue
        match = _ELAPSED.fullmatch(cell.strip())
        parts = [part for part in match.groups()[:3] if part] if match else []
        if match is None or len(parts) != len(places):
            raise CycleError(f"line {line}: {title} is {shown(cell)}, and a time as {form} is needed")
        found[i] = sum(int(p) * s for p, s in zip(parts, places, strict=True)) + fraction(match[4]) * places[-1]
    return found


@dataclass(frozen=True, slots=True)
class Clock:
    """Whose time of day it is: the zone, the order of a date's parts, when the log's head says that it began."""

    zone: tzinfo
    date: str | None = None
    start: datetime | None = None


def by_clock(cells: list[str], dates: list[str] | None, lines: list[int], clock: Clock) -> Moments:
    """Moments of times of day, with dates where the log has them."""
    local = np.full(len(cells), np.nan)
    apart = np.zeros(len(cells))
    days: dict[str, int] = {}
    zoned = False
    for i, (cell, line) in enumerate(zip(cells, lines, strict=True)):
        if cell.strip() in MISSING:
            continue
        found = _CLOCK.fullmatch(cell.strip())
        if found is None:
            raise CycleError(f"line {line}: the time is {shown(cell)}, and a time of day such as 09:10:30 is needed")
        local[i] = _of_day(found, line)
        if found[1] or dates:
            said = found[1] or (dates[i] if dates else "")
            if said not in days:
                days[said] = (day_of(said, clock.date, line).toordinal() - _EPOCH) * DAY_S
            local[i] += days[said]
        if found[7]:
            apart[i], zoned = _apart(found[7]), True
    seen = np.flatnonzero(~np.isnan(local))
    if not seen.size:
        return Moments(local, None)
    if not days:
        return _undated(local, seen, lines, clock)
    seconds = local - apart if zoned else _to_utc(local, seen, clock.zone)
    began = datetime.fromtimestamp(0, UTC) + timedelta(seconds=float(seconds[seen[0]]))
    return Moments(seconds - seconds[seen[0]], began)


def _of_day(found: re.Match[str], line: int) -> float:
    hour, minute, second = int(found[2]), int(found[3]), int(found[4] or 0)
    if found[6]:
        hour = hour % 12 + (12 if found[6].lower().startswith("p") else 0)
    if hour > 23 or minute > 59 or second > 59:
        raise CycleError(f"line {line}: {shown(found[0])} is no time of day: mend the line, or say another time.form")
    return hour * 3600 + minute * 60 + second + fraction(found[5])


def _apart(text: str) -> int:
    if text == "Z":
        return 0
    value = int(text[1:3]) * 3600 + int(text[-2:]) * 60
    return -value if text[0] == "-" else value


def day_of(text: str, order: str | None, line: int) -> date:
    """The day that a date as written means. One that could be read two ways is asked about, never guessed."""
    found = _DATE.fullmatch(text.strip())
    if found is None:
        raise CycleError(f"line {line}: the date is {shown(text)}, and one such as 2026-03-04 is needed")
    parts = dict(zip((order or _order(found, line)).split("."), (int(p) for p in found.groups()), strict=True))
    year = parts["year"] + (0 if len(max(found.groups(), key=len)) == 4 else 2000)
    try:
        found_day = date(year, parts["month"], parts["day"])
    except ValueError:
        found_day = None
    if found_day is None or not FIRST_YEAR <= year <= LAST_YEAR:
        raise CycleError(f"line {line}: {shown(text)} is no date of a cycle: mend it, or say time.date in a mapping")
    return found_day


def _order(found: re.Match[str], line: int) -> str:
    if len(found[1]) == 4:
        return "year.month.day"
    first, second = int(found[1]), int(found[2])
    if "." in found.string or first > 12 or first == second:
        return "day.month.year"
    if second > 12:
        return "month.day.year"
    raise CycleError(
        f'line {line}: {shown(found[0])} can be read two ways: say date = "day.month.year" under [time] in a mapping'
    )


def _to_utc(local: Series, seen: Indices, zone: tzinfo) -> Series:
    """Seconds since 1970 of local ones. An hour that comes twice is the second one once the clock has gone back."""
    first, last = (datetime(1970, 1, 1) + timedelta(seconds=float(local[seen[i]])) for i in (0, -1))  # noqa: DTZ001
    around = {(when + timedelta(days=d)).replace(tzinfo=zone).utcoffset() for when in (first, last) for d in (-1, 0, 1)}
    if len(around) == 1 and (same := around.pop()) is not None:
        return local - same.total_seconds()
    utc, before = local.copy(), -np.inf
    for i in seen:
        when = (datetime(1970, 1, 1) + timedelta(seconds=float(local[i]))).replace(tzinfo=zone)  # noqa: DTZ001
        found = when.timestamp()
        again = when.replace(fold=1).timestamp()
        if found <= before < again and again - found <= 2 * 3600:
            found = again
        utc[i], before = found, max(before, found)
    return utc


def _undated(local: Series, seen: Indices, lines: list[int], clock: Clock) -> Moments:
    """Times of day alone: they go on over midnight, and the head of the log may say which day it was."""
    here = local[seen]
    jumps = np.diff(here)
    here = here + np.concatenate(([0.0], np.cumsum(np.where(jumps < -DAY_S / 2, DAY_S, 0.0))))
    back = np.flatnonzero((np.diff(here) < -3000) & (np.diff(here) > -3700))
    if back.size:
        raise CycleError(
            f"line {lines[int(seen[back[0] + 1])]}: the clock goes back an hour there, as at the end of summer time: "
            f"log the date too, or keep the logger at one time the whole year"
        )
    seconds = local.copy()
    seconds[seen] = here - here[0]
    if clock.start is None:
        return Moments(seconds, None)
    start = clock.start
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    first = midnight + timedelta(seconds=float(here[0]))
    if (first - start.replace(tzinfo=None)).total_seconds() < -DAY_S / 2:
        first += timedelta(days=1)
    return Moments(seconds, first.replace(tzinfo=clock.zone).astimezone(UTC))


def start_of(found: re.Match[str], order: str | None, zone: tzinfo, line: int) -> datetime:
    """When the head of a log says it began, in the site's time."""
    time = _CLOCK.fullmatch((found["time"] or "").strip())
    if time is None:
        raise CycleError(f"line {line}: the start is {shown(found['time'] or '')}, and a time such as 09:10 is needed")
    day = day_of(found["date"] or "", order, line)
    return datetime(day.year, day.month, day.day, tzinfo=zone) + timedelta(seconds=_of_day(time, line))
