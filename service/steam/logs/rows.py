"""Text to rows: the cells of each reading, and the number of its line in the file."""

import csv
import re
from dataclasses import dataclass, field

from service.steam.cycle import CycleError
from service.steam.logs.mapping import SEPARATORS, Mapping, Name
from service.steam.logs.text import LONGEST_LINE, shown

Row = tuple[int, list[str]]
_UNIT_APART = re.compile(r"(?<=\d)[ \t]+(?=[^\d\s+-])")


@dataclass(slots=True)
class Table:
    """The cells of each wanted quantity, one a reading; the lines they stand in; what each column is called.

    `left_out` is which lines were, and why.
    """

    cells: dict[str, list[str]]
    lines: list[int]
    titles: dict[str, str]
    left_out: list[tuple[int, str]] = field(default_factory=list)


def split(text: str, separator: str) -> list[Row]:
    """The rows of delimited text without the blank ones and without the comments (`#`) it begins with."""
    lines = text.split("\n")
    if separator == " ":
        rows = [(n, _UNIT_APART.sub("", line[:LONGEST_LINE]).split()) for n, line in enumerate(lines, 1)]
    else:
        reader = csv.reader(lines, delimiter=separator)
        try:
            rows = [(reader.line_num, row) for row in reader]
        except csv.Error as error:
            raise CycleError(f"line {reader.line_num} is not CSV ({error}): export it again") from error
    rows = [(n, row) for n, row in rows if row and (row[0].strip() or "".join(row).strip())]
    first = next((i for i, (_, row) in enumerate(rows) if not row[0].lstrip().startswith("#")), len(rows))
    return rows[first:]


def names_of(row: list[str]) -> list[str]:
    return [cell.strip() for cell in row]


def table_of(text: str, mapping: Mapping) -> Table:
    """The readings of a log as its mapping finds them. Raises CycleError naming the line."""
    wanted: dict[str, Name] = {"time": mapping.time.column}
    if mapping.time.date_column is not None:
        wanted["date"] = mapping.time.date_column
    wanted |= {name: column.column for name, column in mapping.quantities().items()}
    found = _by_pattern(text, mapping.lines, wanted) if mapping.lines else _by_columns(text, mapping, wanted)
    if len(found.lines) < 2:
        raise CycleError(f"the log has {len(found.lines)} readings: at least two are needed")
    if mapping.newest_first:
        found.lines.reverse()
        for cells in found.cells.values():
            cells.reverse()
    return found


def _by_pattern(text: str, pattern: str, wanted: dict[str, Name]) -> Table:
    match = re.compile(pattern).search
    rows: list[list[str]] = []
    lines: list[int] = []
    left_out: list[tuple[int, str]] = []
    for number, line in enumerate(text.split("\n"), 1):
        if not line or line.isspace():
            continue
        found = match(line) if len(line) <= LONGEST_LINE else None
        if found is None:
            left_out.append((number, "no reading"))
            continue
        lines.append(number)
        rows.append([found[name] or "" for name in wanted])
    columns = [list(cells) for cells in zip(*rows, strict=True)] or [[] for _ in wanted]
    return Table(dict(zip(wanted, columns, strict=True)), lines, dict.fromkeys(wanted, "the printed line"), left_out)


def _by_columns(text: str, mapping: Mapping, wanted: dict[str, Name]) -> Table:
    separator = SEPARATORS[mapping.separator] if mapping.separator else separator_of(text)
    rows = split(text, separator)
    if not rows:
        raise CycleError("the log is empty: it needs a line of column names and at least two readings")
    names, places, rows = _head(rows, wanted)
    left_out: list[tuple[int, str]] = []
    width = len(names) if names else max(places.values()) + 1
    good = []
    time = places["time"]
    for number, row in rows:
        if len(row) != width and not _fits(number, row, width, time, exact=bool(names)):
            left_out.append((number, "no reading"))
            continue
        good.append((number, row))
        if names and row[time].strip() == names[time] and names_of(row) == names:
            raise CycleError(f"line {number}: the column names stand there again: send one cycle, and send it once")
    columns = list(zip(*[row if len(row) == width else row[:width] for _, row in good], strict=True)) or [()] * width
    titles = {name: _title(names[i]) if names else f"column {i + 1}" for name, i in places.items()}
    cells = {name: list(columns[i]) for name, i in places.items()}
    return Table(cells, [number for number, _ in good], titles, left_out)


def _title(name: str) -> str:
    return name if name.isidentifier() and len(name) <= 30 else f"column {shown(name)}"


def _fits(line: int, row: list[str], width: int, time: int, *, exact: bool) -> bool:
    """Whether a row of another width is a reading all the same. Words between the readings are none."""
    more = [cell for cell in row[width:] if cell.strip()]
    if len(row) > width and (not more or not exact):
        return True
    if len(row) <= time or not row[time].strip()[:1].isdigit():
        return False
    raise CycleError(f"line {line} has {len(row)} cells and the first line {width}: mend or export it again")


def _head(rows: list[Row], wanted: dict[str, Name]) -> tuple[list[str], dict[str, int], list[Row]]:
    """The names of the columns where there are any, the place of each that is wanted, and the rows that follow."""
    by_name = [name for name in wanted.values() if isinstance(name, str)]
    if not by_name:
        places = {key: int(name) - 1 for key, name in wanted.items()}
        time, last = places["time"], max(places.values())
        begin = (i for i, (_, row) in enumerate(rows) if len(row) > last and row[time].strip()[:1].isdigit())
        return [], places, rows[next(begin, len(rows)) :]
    for i, (line, row) in enumerate(rows):
        names = names_of(row)
        if set(by_name) <= set(names):
            twice = next((name for name in by_name if names.count(name) > 1), None)
            if twice is not None:
                raise CycleError(f"line {line}: the column {twice} is there twice: name them apart, or by number")
            found = {key: names.index(n) if isinstance(n, str) else n - 1 for key, n in wanted.items()}
            if max(found.values()) >= len(names):
                raise CycleError(f"line {line} has {len(names)} columns, and the mapping asks for one beyond them")
            return names, found, rows[i + 1 :]
    line, row = rows[0]
    first = ", ".join(shown(name) for name in names_of(row)[:12])
    missing = next((name for name in by_name if name not in names_of(row)), by_name[0])
    raise CycleError(f"line {line}: the column {missing} is missing; the columns are {first}: mend the mapping")


def separator_of(text: str) -> str:
    """What stands between the cells, by what the first lines hold most of: tab, semicolon or comma."""
    head = text[:4000]
    return max(("\t", ";", ","), key=lambda one: head.count(one) * (1 if one == "," else 4))
