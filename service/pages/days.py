"""Days as people write them in the search: one, or from one to another, in the site's local time."""

import re
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.custody.facts import stamp

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NAMED = re.compile(r"(\d{1,2})\s+([a-z]+)(?:\s+(\d{4}))?")
_BACK = {"today": 0, "yesterday": 1}


def days(text: str, today: date) -> tuple[date, date] | None:
    """The first and last day that `text` names, in either order; None when it names none.

    A day is `2026-11-20`, `20 November`, `20 Nov 2026`, `today` or `yesterday`; two with `..` between them are a range.
    A day without a year is the last one of that name that has begun.
    """
    found = [_day(part.strip().casefold(), today) for part in text.split("..")]
    if len(found) > 2 or None in found:
        return None
    told = sorted(one for one in found if one)
    return told[0], told[-1]


def bounds(first: date, last: date, zone: ZoneInfo) -> tuple[str, str]:
    """From when up to when these local days last, as stamps."""
    return stamp(datetime.combine(first, time(), zone)), stamp(datetime.combine(last + timedelta(days=1), time(), zone))


def _day(text: str, today: date) -> date | None:
    if text in _BACK:
        return today - timedelta(days=_BACK[text])
    try:
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            return date.fromisoformat(text)
        named = _NAMED.fullmatch(text)
        if named and len(named[2]) >= 3 and named[2][:3] in _MONTHS:
            return _named(int(named[1]), named[2], named[3], today)
    except (ValueError, OverflowError):
        return None
    return None


def _named(day: int, name: str, year: str | None, today: date) -> date | None:
    month = _MONTHS.index(name[:3]) + 1
    if not f"{date(2000, month, 1):%B}".casefold().startswith(name):
        return None
    if year:
        return date(int(year), month, day)
    years = (today.year - back for back in range(9))  # 29 February comes again within eight
    begun = (date(one, month, day) for one in years if _is_day(one, month, day))
    return next((one for one in begun if one <= today), None)


def _is_day(year: int, month: int, day: int) -> bool:
    try:
        return bool(date(year, month, day))
    except ValueError:
        return False
