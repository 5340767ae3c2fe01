"""A mapping: how the logs of one machine are written. A TOML file that a practice writes once and tries on a file."""

import json
import re
import tomllib
from dataclasses import dataclass
from typing import Any

from service.steam.cycle import CycleError
from service.steam.logs.text import ENCODINGS
from service.steam.logs.units import CELSIUS, checked
from service.steam.logs.zones import zone

FORMS = ("seconds", "minutes", "minutes:seconds", "hours:minutes", "hours:minutes:seconds", "clock")
"""How a time is written: elapsed since the cycle began, but for `clock`, which is the time of day."""
DATES = ("day.month.year", "month.day.year", "year.month.day")
"""The order of a date's parts, whatever stands between them."""
SEPARATORS = {",": ",", ";": ";", "tab": "\t", "space": " "}
QUANTITIES = ("temperature", "second", "pressure")

Name = str | int
"""A column by its name, or by its number from 1."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of readings: where it stands, its unit, and of a pressure whether it is a gauge's (None: not said)."""

    column: Name
    unit: str
    gauge: bool | None = None


@dataclass(frozen=True, slots=True)
class Times:
    """The column of times, another of dates where there is one, how a time is written and in what order a date."""

    column: Name
    form: str
    date_column: Name | None = None
    date: str | None = None


@dataclass(frozen=True, slots=True)
class Mapping:
    """How a log is read. Without `temperature`, the pressure of saturated steam says it.

    `lines`, `counter` and `start` are regular expressions: of a printer's line with the groups `time`, `date`,
    `temperature`, `second` and `pressure`; of the cycle's number; of its beginning, with the groups `date` and `time`.
    """

    time: Times
    temperature: Column | None = None
    second: Column | None = None
    pressure: Column | None = None
    lines: str | None = None
    counter: str | None = None
    start: str | None = None
    separator: str | None = None
    decimal: str = "."
    encoding: str | None = None
    altitude_m: float | None = None
    tz: str | None = None
    newest_first: bool = False

    def quantities(self) -> dict[str, Column]:
        return {name: column for name in QUANTITIES if (column := getattr(self, name))}

    def to_json(self) -> str:
        """The mapping as one line that `of_json` reads: it goes into the record beside the verdict."""
        table: dict[str, Any] = {"time": _said(self.time)} | {k: _said(v) for k, v in self.quantities().items()}
        for name in ("lines", "counter", "start"):
            if pattern := getattr(self, name):
                table[name] = {"pattern": pattern}
        plain = {name: getattr(self, name) for name in _PLAIN}
        return json.dumps(table | {k: v for k, v in plain.items() if v not in {None, False}}, ensure_ascii=False)


_PLAIN: dict[str, tuple[type, ...]] = {
    "separator": (str,), "decimal": (str,), "encoding": (str,), "altitude_m": (int, float), "tz": (str,),
    "newest_first": (bool,),
}  # fmt: skip
_TABLES = {
    "time": {"column", "form", "date_column", "date"}, "temperature": {"column", "unit"}, "second": {"column", "unit"},
    "pressure": {"column", "unit", "gauge"}, "lines": {"pattern"}, "counter": {"pattern"}, "start": {"pattern"},
}  # fmt: skip


def _said(one: Column | Times) -> dict[str, Any]:
    return {name: value for name in one.__slots__ if (value := getattr(one, name)) is not None}


def of_toml(text: str) -> Mapping:
    """The mapping of a TOML file's text. Raises CycleError saying which key, and what it may be."""
    try:
        return of_table(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise CycleError(f"the mapping is not TOML ({error}): mend that line") from error


def of_json(line: str) -> Mapping:
    return of_table(json.loads(line))


def of_table(table: dict[str, Any]) -> Mapping:
    """The mapping of a table as TOML or settings hold it. Raises CycleError."""
    for name, value in table.items():
        if name in _TABLES:
            if not isinstance(value, dict) or set(value) - _TABLES[name]:
                raise CycleError(f"the mapping's [{name}] holds something else than {', '.join(sorted(_TABLES[name]))}")
        elif name not in _PLAIN:
            raise CycleError(f"nobody knows {name[:30]!r} in a mapping; there are {', '.join([*_TABLES, *_PLAIN])}")
        elif not isinstance(value, _PLAIN[name]) or (isinstance(value, bool) and name != "newest_first"):
            raise CycleError(f"the mapping's {name} is {value!r}, and a {_PLAIN[name][-1].__name__} is needed")
    told: tuple[str, ...] = ("lines", "counter", "start")
    patterns = {name: _pattern(name, table[name]) for name in told if name in table}
    groups = set(re.compile(patterns["lines"]).groupindex) if "lines" in patterns else None
    columns = {name: _column(name, table[name], groups) for name in QUANTITIES if name in table}
    if "temperature" not in columns and "pressure" not in columns:
        raise CycleError("the mapping names neither a temperature nor a pressure: add [temperature] with its column")
    rest: dict[str, Any] = {**columns, **patterns, **{name: table[name] for name in _PLAIN if name in table}}
    found = Mapping(_times(table.get("time"), groups), **rest)
    _choices(found)
    return found


def _choices(mapping: Mapping) -> None:
    if mapping.tz is not None:
        zone(mapping.tz)
    for name, value, known in (
        ("separator", mapping.separator, tuple(SEPARATORS)), ("decimal", mapping.decimal, (".", ",")),
        ("encoding", mapping.encoding, ENCODINGS),
    ):  # fmt: skip
        if value is not None and value not in known:
            raise CycleError(f"the mapping's {name} is {value[:20]!r}: choose among {'  '.join(known)}")


def _column(name: str, table: dict[str, Any], groups: set[str] | None) -> Column:
    unit, gauge = table.get("unit", CELSIUS if name != "pressure" else None), table.get("gauge")
    if not isinstance(unit, str):
        raise CycleError(f'the mapping\'s [{name}] has no unit: say for example unit = "bar"')
    if name == "pressure" and not isinstance(gauge, bool):
        raise CycleError("the mapping's [pressure] must say gauge = true (nothing at rest) or gauge = false (absolute)")
    return Column(_place(name, table, groups), checked(unit, pressure=name == "pressure"), gauge)


def _times(table: dict[str, Any] | None, groups: set[str] | None) -> Times:
    if table is None:
        raise CycleError('the mapping has no [time]: say its column and form, such as form = "seconds"')
    form, date = table.get("form"), table.get("date")
    if form not in FORMS:
        raise CycleError(f"the mapping's time.form is {form!r}: choose among {', '.join(FORMS)}")
    if date is not None and date not in DATES:
        raise CycleError(f"the mapping's time.date is {date!r}: choose among {', '.join(DATES)}")
    date_column = table.get("date_column")
    if groups is not None:
        date_column = "date" if "date" in groups else None
    if date_column is not None and not isinstance(date_column, Name):
        raise CycleError("the mapping's time.date_column is neither a column's name nor its number")
    return Times(_place("time", table, groups), form, date_column, date)


def _place(name: str, table: dict[str, Any], groups: set[str] | None) -> Name:
    """Where a column is: by name or number, or, in printer lines, the pattern's group of that name."""
    if groups is not None:
        if name not in groups:
            raise CycleError(f"the mapping's lines.pattern has no group (?P<{name}>…), and [{name}] is asked for")
        return name
    column = table.get("column")
    if isinstance(column, bool) or not isinstance(column, Name) or (isinstance(column, int) and column < 1):
        raise CycleError(f"the mapping's {name}.column is {column!r}, and a name or a number from 1 is needed")
    return column


def _pattern(name: str, table: dict[str, Any]) -> str:
    pattern = table.get("pattern")
    try:
        found = re.compile(pattern) if isinstance(pattern, str) else None
    except (re.error, RecursionError, OverflowError) as error:
        raise CycleError(f"the mapping's {name}.pattern is no regular expression ({error}): mend it") from error
    if found is None:
        raise CycleError(f"the mapping's [{name}] has no pattern")
    if name == "counter" and found.groups < 1:
        raise CycleError("the mapping's counter.pattern has no group: put the number in brackets, such as No (\\d+)")
    if name == "start" and not {"date", "time"} <= set(found.groupindex):
        raise CycleError("the mapping's start.pattern needs the groups (?P<date>…) and (?P<time>…)")
    return found.pattern
