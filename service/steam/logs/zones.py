"""Time zones: by name, or a fixed distance from UTC for a logger whose clock never changes."""

import re
from datetime import UTC, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.steam.cycle import CycleError

_FIXED = re.compile(r"([+-])(\d{2}):?(\d{2})")


def zone(name: str) -> tzinfo:
    """The zone called `Europe/London`, `UTC` or `+01:00`. Raises CycleError."""
    if name in {"UTC", "Z"}:
        return UTC
    if (fixed := _FIXED.fullmatch(name)) and int(fixed[2]) < 24:
        distance = timedelta(hours=int(fixed[2]), minutes=int(fixed[3]))
        return timezone(-distance if fixed[1] == "-" else distance)
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise CycleError(f"{name[:30]!r} is not a time zone such as Europe/London or +01:00") from error
