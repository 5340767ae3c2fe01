"""What a log without a mapping is: the usual shapes, each column with its unit in its name, and printers' lines."""

import re
from dataclasses import dataclass

from service.steam.cycle import CycleError
from service.steam.logs.mapping import QUANTITIES, Column, Mapping, Times, of_table
from service.steam.logs.rows import names_of, separator_of, split
from service.steam.logs.text import shown
from service.steam.logs.units import KPA, TIME_UNITS, unit_of

HEAD_LINES = 60
"""How far down the names of the columns are looked for."""
_NUMBER = r"[+-]?\d+(?:[.,]\d+)?"
_PRESSURE_UNIT = r"(?:k[Pp]a|mbar|bar|psi|mmHg|kgf?/cm[2²])[ ]?(?:\(?(?:abs|gauge|a|g)\)?(?![A-Za-z]))?"
PRINTED = (
    r"^[^\d\n]{0,20}(?P<time>(?:\d{1,4}[./-]\d{1,2}[./-]\d{1,4}[ T])?\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,6})?)?)[\s,;|]+"
    rf"(?P<temperature>{_NUMBER}\s*°?[CF])\b(?:[\s,;|]+(?P<second>{_NUMBER}\s*°?[CF])\b)?"
    rf"(?:[\s,;|]+(?P<pressure>{_NUMBER}\s*{_PRESSURE_UNIT}))?"
)
"""A printer's line, such as `12:04:30  134.6C  2.08bar`."""
_TIME_WORDS = {
    "time",
    "zeit",
    "uhrzeit",
    "clock",
    "timestamp",
    "datetime",
    "date time",
    "elapsed",
    "elapsed time",
    "zeitstempel",
}
_DATE_WORDS = {"date", "datum", "day"}
_OTHERS = re.compile(r"jacket|mantel|set|soll|ambient|room|generator", re.IGNORECASE)
"""Columns that are measured beside the chamber, or wished for."""
_HEADING = re.compile(r"(?P<name>.*?)\s*(?:[\[(](?P<inside>[^\])]*)[\])]|_(?P<under>[^\s_]+)|\s(?P<last>\S{2,}))\s*")
_NUMERIC = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_TWO_PARTS = re.compile(r"(\d{1,4}):(\d{2})(?:[.,]\d+)?", re.ASCII)
_TYPED = re.compile(rf"\s*(\d+(?::\d\d)?)(?:[ \t]*min)?[ \t]+{_NUMBER}[ \t]*(?:°?C)?[ \t]*(?:\n|$)", re.ASCII)
SHORTEST_S, LONGEST_S = 300, 6 * 3600
"""How long a cycle lasts, to tell 09:10 minutes:seconds from hours:minutes. Common practice, no source."""
PLAIN = ("seconds", "temperature_c", "pressure_kpa")
"""The plain shape: elapsed seconds, °C, kPa absolute."""


@dataclass(frozen=True, slots=True)
class _Heading:
    name: str
    unit: str | None = None
    gauge: bool | None = None

    @property
    def column(self) -> Column:
        return Column(self.name, self.unit or "", self.gauge)


def typed(text: str) -> Mapping | None:
    """What people write down from a gauge and a clock: a line a reading, `09:10 121.2` or `10 min 121.2`, in °C.

    None for text of another shape, which has to explain itself.
    """
    found = _TYPED.match(text)
    if not found:
        return None
    form = "clock" if ":" in found[1] else "minutes"
    return of_table({"separator": "space", "time": {"column": 1, "form": form}, "temperature": {"column": 2}})


def guess(text: str) -> Mapping:
    """The mapping that a log of a usual shape explains itself. Raises CycleError saying what it does not tell."""
    lines = text.split("\n")
    head = "\n".join(lines[:HEAD_LINES])
    separator = separator_of(head)
    rows = split(head, separator)
    if not rows:
        raise CycleError("the log is empty: it needs a line of column names and at least two readings")
    for i, (line, row) in enumerate(rows):
        names = names_of(row)
        found = _headings(line, names)
        if {"time", "temperature"} <= set(found):
            seen = [cells for _, cells in (*rows[i + 1 :], *_last(lines, separator))]
            places = {role: names.index(heading.name) for role, heading in found.items()}
            cells = {role: [row[at] for row in seen if len(row) > at] for role, at in places.items()}
            return _by_columns(line, found, cells, separator)
    ends = (*lines[:HEAD_LINES], *lines[HEAD_LINES:][-5:])
    printed = [match for row in ends if (match := re.search(PRINTED, row[:200]))]
    if len(printed) >= 2:
        return _by_lines(printed)
    raise _missing(*rows[0])


def _last(lines: list[str], separator: str) -> list[tuple[int, list[str]]]:
    try:
        return split("\n".join(lines[HEAD_LINES:][-5:]), separator)
    except CycleError:
        return []


def _missing(line: int, row: list[str]) -> CycleError:
    names = names_of(row)
    lacks = "temperature_c" if "time" in _headings(line, names) else "seconds"
    listed = ", ".join(shown(name) for name in names[:12])
    return CycleError(
        f"line {line}: the column {lacks} is missing; the columns are {listed}: name it so, or write a mapping"
    )


def _headings(line: int, names: list[str]) -> dict[str, _Heading]:
    """For each quantity its column and unit. The plain names come first; another temperature is a second probe's."""
    found: dict[str, _Heading] = {}
    for name in sorted(names, key=lambda one: one not in PLAIN):
        role, heading = _heading(name)
        if role == "temperature" and role in found and name != found[role].name:
            role = "second"
        if role in found and found[role].name == name:
            raise CycleError(f"line {line}: the column {name[:30]} is there twice: name them apart, or write a mapping")
        if role:
            found.setdefault(role, heading)
    return found


def _heading(name: str) -> tuple[str | None, _Heading]:
    """What a column's name says it holds, if it says so."""
    low = name.lower()
    if low == PLAIN[2]:
        return "pressure", _Heading(name, "kPa", gauge=False)
    if low in _DATE_WORDS:
        return "date", _Heading(name)
    if low in _TIME_WORDS or low in TIME_UNITS:
        return "time", _Heading(name, TIME_UNITS.get(low))
    parts = _HEADING.fullmatch(name)
    if parts is None or _OTHERS.search(name):
        return None, _Heading(name)
    word = (parts["inside"] or parts["under"] or parts["last"] or "").lower()
    if parts["name"].strip().lower() in {*_TIME_WORDS, "t"} and word in TIME_UNITS:
        return "time", _Heading(name, TIME_UNITS[word])
    unit = unit_of(word)
    if unit is None or unit[0] in TIME_UNITS:
        return None, _Heading(name)
    return ("pressure" if unit[0] in KPA else "temperature"), _Heading(name, *unit)


def _by_columns(line: int, found: dict[str, _Heading], cells: dict[str, list[str]], separator: str) -> Mapping:
    time = found["time"]
    form = _form(line, cells["time"], time)
    date = found.get("date") if form == "clock" else None
    comma = separator != "," and any("," in cell and "." not in cell for cell in cells["temperature"])
    columns = {role: heading.column for role, heading in found.items() if role in QUANTITIES}
    return Mapping(
        Times(time.name, form, date.name if date else None),
        temperature=columns["temperature"],
        second=columns.get("second"),
        pressure=columns.get("pressure"),
        separator="tab" if separator == "\t" else separator,
        decimal="," if comma else ".",
    )


def _by_lines(matches: list[re.Match[str]]) -> Mapping:
    columns = {}
    for role in QUANTITIES:
        cell = next((match[role] for match in matches if match[role]), None)
        if cell and (unit := unit_of(cell.lstrip("+-.,0123456789 "))):
            columns[role] = Column(role, *unit)
    form = _form(1, [match["time"] for match in matches], _Heading("time"))
    comma = any("," in match["temperature"] for match in matches)
    return Mapping(
        Times("time", form),
        temperature=columns["temperature"],
        second=columns.get("second"),
        pressure=columns.get("pressure"),
        lines=PRINTED,
        decimal="," if comma else ".",
    )


def _form(line: int, cells: list[str], heading: _Heading) -> str:
    """How the times are written: by the unit in the column's name, by their parts, by how long a cycle lasts."""
    told = [cell.strip() for cell in cells if cell.strip()]
    if heading.unit and not any(":" in cell for cell in told):
        return heading.unit
    if told and all(_NUMERIC.fullmatch(cell) for cell in told):
        raise CycleError(
            f"line {line}: the column {shown(heading.name)} does not say whether seconds or minutes: name it Time (s) "
            f"or Time (min), or write a mapping"
        )
    pairs = [(int(found[1]), int(found[2])) for cell in told if (found := _TWO_PARTS.fullmatch(cell))]
    if not pairs or len(pairs) < len(told):
        return "hours:minutes:seconds" if "elapsed" in heading.name.lower() else "clock"
    span = (pairs[-1][0] - pairs[0][0]) * 60 + pairs[-1][1] - pairs[0][1]
    if max(first for first, _ in pairs) > 23 or (span > LONGEST_S / 60 and span >= SHORTEST_S):
        return "minutes:seconds"
    if SHORTEST_S / 60 <= span % (24 * 60) <= LONGEST_S / 60:
        return "clock"
    raise CycleError(
        f"line {line}: a time like {shown(told[0])} can be hours:minutes or minutes:seconds: say time.form in a mapping"
    )
