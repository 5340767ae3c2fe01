"""A scan as it arrives, and the time it happened at."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from service.custody.facts import FactError, moment, stamp
from service.ledger.ids import is_uuid

KINDS = ("wash", "packing", "loading", "unloading", "store", "theatre", "office")
STATION = re.compile(rf"(?:{'|'.join(KINDS)})-[1-9][0-9]?")
TIME = re.compile(
    r"(?:19[7-9][0-9]|2[0-9]{3})-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,9})?(?:Z|[+-][0-9]{2}:[0-9]{2})"
)
"""RFC 3339, from the year in which clocks that nobody set begin."""
LONGEST_TYPED = 300


class ScanError(ValueError):
    """A scan that cannot be taken; `field` says which part of it was wrong."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class Scan:
    """One scan: `code` is a code, or typed text with `=` before it. `at` is corrected, as facts write times."""

    id: str
    station: str
    code: str
    at: str
    clock: str | None = None

    @property
    def kind(self) -> str:
        return self.station.rsplit("-", 1)[0]


def station_name(text: str) -> str:
    """`text` when it names a station such as `loading-1`. Raises ScanError."""
    if not STATION.fullmatch(text):
        raise ScanError(
            "station", f"{text[:40]!r} is not a station: use one of {', '.join(KINDS)} and a number, loading-1"
        )
    return text


def happened_at(seen_at: Any, sent_at: Any, now: datetime) -> tuple[str, str | None]:
    """When a scan happened by the service's clock, and what was wrong with the scanner's, if anything.

    A scanner says when it saw the code and when it sent the scan, both by its own clock; the difference between
    sending and arriving is that clock's error. A time still in the future becomes now. Raises ScanError.
    """
    if seen_at is None:
        return stamp(now), None
    for name, text in (("seen_at", seen_at), ("sent_at", sent_at)):
        if not (text is None or (isinstance(text, str) and TIME.fullmatch(text))):
            raise ScanError(name, f"{name} is an RFC 3339 time with its zone, such as 2026-03-04T10:12:00Z")
    try:
        seen = moment(seen_at)
        corrected = seen + (now - moment(sent_at)) if sent_at else seen
        corrected = corrected.astimezone(UTC)
    except (FactError, OverflowError) as error:
        raise ScanError("seen_at", str(error)) from error
    if corrected > now:
        return stamp(now), "ahead"
    return stamp(corrected), None


def take(body: dict[str, Any], now: datetime) -> Scan:
    """The scan of a request's body. Raises ScanError naming the field."""
    for field in ("id", "station", "code"):
        if not isinstance(body.get(field), str):
            raise ScanError(field, f"{field} is missing: a scan has id, station, code and seen_at")
    if not is_uuid(body["id"]):
        raise ScanError("id", f"{body['id'][:40]!r} is not a UUID in lower case")
    if not 0 < len(body["code"]) <= LONGEST_TYPED:
        raise ScanError(
            "code", f"a code or typed text has 1 to {LONGEST_TYPED} characters, this has {len(body['code'])}"
        )
    at, clock = happened_at(body.get("seen_at"), body.get("sent_at"), now)
    return Scan(body["id"], station_name(body["station"]), body["code"], at, clock)
