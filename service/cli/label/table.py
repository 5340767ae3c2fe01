"""A table of sets, as a CSV: read whole and checked cell by cell before anything is done with it."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from label_templates import codes
from label_templates.codes import CodeError
from service.api.acts import POSTS
from service.api.fields import SheetLine, model, taken
from service.api.problems import Problem
from service.cli.open import fail

COLUMNS = ("name", "kind", "implant", "mark", "code", "group", "line", "count")
NEEDED = ("name", "group", "line", "count")
_FORMULA = "=+-@\t\r"
_YES = {"yes": True, "no": False, "": False}
_SET = model("set of a table", next(post.fields for post in POSTS if post.does == "register set"))
Cells = dict[str, str]


@dataclass(frozen=True, slots=True)
class Row:
    """A set of the table: the line it begins in, its code where it has one, and what `register sets` is told of it."""

    line: int
    name: str
    mark: str
    code: str | None
    told: dict[str, Any]


def wrong(path: Path, line: int, column: str, why: str) -> click.ClickException:
    """What is wrong with a cell, in one line."""
    return fail(f"{path}, line {line}, column {column}: {why}")


def read(path: Path) -> list[Row]:
    """The sets of the table at `path`. Raises fail naming line and column of what cannot be taken."""
    sets: list[list[tuple[int, Cells]]] = []
    for line, cells in _lines(path):
        if cells["name"]:
            sets.append([])
        if not sets:
            raise wrong(path, line, "name", "it is empty, and no set begins above it: name the set")
        sets[-1].append((line, cells))
    if not sets:
        raise fail(f"{path} has no set in it: a line a set, below the line with the columns' names")
    rows = [_row(path, lines) for lines in sets]
    for column in ("name", "code"):
        seen: dict[str, int] = {}
        for row in rows:
            value = (getattr(row, column) or "").casefold()
            if value and value in seen:
                raise wrong(path, row.line, column, f"{getattr(row, column)} stands in line {seen[value]} already")
            seen[value] = row.line
    return rows


def _row(path: Path, lines: Sequence[tuple[int, Cells]]) -> Row:
    first, cells = lines[0]
    colour, _, pattern = cells["mark"].partition(",")
    if cells["implant"].casefold() not in _YES:
        raise wrong(path, first, "implant", f"{cells['implant'][:40]!r} is neither yes nor no")
    code = _code(path, first, cells["code"])
    told: dict[str, Any] = {"name": cells["name"], "kind": cells["kind"] or "set",
                            "implant": _YES[cells["implant"].casefold()]}  # fmt: skip
    if cells["mark"]:
        told["mark"] = {"colour": colour.strip(), "pattern": pattern.strip() or "solid"}
    seen: set[str] = set()
    sheet = []
    for line, told_of in [] if code and not cells["line"] else lines:
        sheet.append(_sheet_line(path, line, told_of))
        if told_of["line"] in seen:
            raise wrong(
                path, line, "line", f"{told_of['line'][:40]} is on this count sheet already: name each line once"
            )
        seen.add(told_of["line"])
    whole = _taken(path, first, _SET, told | {"sheet": sheet or [{"group": "-", "line": "-", "count": 1}]})
    return Row(first, whole["name"], cells["mark"], code, whole)


def _code(path: Path, line: int, text: str) -> str | None:
    try:
        return codes.parse_as(text, "S").text if text else None
    except CodeError as error:
        raise wrong(path, line, "code", str(error)) from error


def _sheet_line(path: Path, line: int, cells: Cells) -> dict[str, Any]:
    count = cells["count"]
    if not (count.isascii() and count.isdecimal()):
        raise wrong(
            path, line, "count", f"{count[:40]!r} is not a whole number" if count else "it is empty: say how many"
        )
    return _taken(path, line, SheetLine, {"group": cells["group"], "line": cells["line"], "count": int(count)})


def _taken(path: Path, line: int, form: Any, told: dict[str, Any]) -> dict[str, Any]:
    try:
        return taken(form, told)
    except Problem as problem:
        column = str(problem.more["field"])
        raise wrong(path, line, column, problem.detail.split(": ", 1)[-1]) from problem


def _lines(path: Path) -> Iterator[tuple[int, Cells]]:
    """Every line below the first, with its number and its cells by the columns' names, blanks around them gone."""
    text = _text(path)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    try:
        header = [name.strip().casefold() for name in next(reader, [])]
        _check_header(path, header)
        for row in reader:
            cells = [cell.strip(" ") for cell in row]
            if not any(cells):
                raise fail(f"{path}, line {reader.line_num} is empty: take it out")
            if len(cells) != len(header):
                why = f"has {len(cells)} cells, and the first line names {len(header)} columns"
                raise fail(f"{path}, line {reader.line_num} {why}")
            told = dict(zip(header, cells, strict=True))
            for column, cell in told.items():
                if cell and cell[0] in _FORMULA:
                    why = f"it begins with {cell[0]!r}, as a formula does: a spreadsheet would run it"
                    raise wrong(path, reader.line_num, column, why)
            yield reader.line_num, dict.fromkeys(COLUMNS, "") | told
    except csv.Error as error:
        raise fail(f"{path}, line {reader.line_num} is not CSV ({error}): export the table again") from error


def _delimiter(text: str) -> str:
    first = text.partition("\n")[0]
    return ";" if first.count(";") > first.count(",") else ","


def _check_header(path: Path, header: list[str]) -> None:
    if strange := [name for name in header if name not in COLUMNS]:
        raise wrong(path, 1, strange[0][:40] or "(empty)", f"nobody knows it: there are {', '.join(COLUMNS)}")
    if missing := [name for name in NEEDED if name not in header]:
        raise wrong(path, 1, missing[0], f"it is missing: the first line names {', '.join(COLUMNS)}")
    if twice := [name for name in header if header.count(name) > 1]:
        raise wrong(path, 1, twice[0], "it is there twice")


def _text(path: Path) -> str:
    """The table's text. Raises fail naming line and column of the first byte that is not UTF-8."""
    body = path.read_bytes()
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        start = body[: error.start].rfind(b"\n") + 1
        line = body[:start].count(b"\n") + 1
        before = body[start : error.start].decode("utf-8-sig", "replace")
        header = body.partition(b"\n")[0].decode("utf-8-sig", "replace")
        delimiter = _delimiter(header)
        names, cells = header.strip().split(delimiter), next(csv.reader([before], delimiter=delimiter), [])
        column = names[max(0, len(cells) - 1)] if len(cells) <= len(names) else "(none)"
        why = f"character {len(before) + 1} of the line is not UTF-8: save the table as CSV UTF-8"
        raise wrong(path, line, column if line > 1 else "(first line)", why) from error
