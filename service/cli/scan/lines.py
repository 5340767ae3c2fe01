"""Lines: what a scanner prints, for people, for programs, or for a journal."""

import json
from dataclasses import fields
from datetime import UTC, datetime
from typing import Any

import click

from scanner.client import Verdict
from scanner.foreign import Foreign
from scanner.watch import Counts

_COLOURS = {"go": "green", "ask": "yellow", "stop": "red", "not taken": "red"}


def ago(seconds: float) -> str:
    """A time past, as it is said: 40 s, 3 min, 5 h, 2 days."""
    for unit, size, least in (("days", 86400, 2), ("h", 3600, 2), ("min", 60, 2)):
        if seconds >= size * least:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds:.0f} s"


class Lines:
    """One line for each thing told, in the form chosen."""

    def __init__(self, *, as_json: bool = False, log: bool = False) -> None:
        self._rows = as_json or log
        self._log = log

    def verdict(self, at: datetime, code: str, verdict: Verdict) -> None:
        if self._log:
            self._row(at, event="scan", code=code, verdict=verdict.verdict, rule=verdict.rule, late_s=verdict.late_s)
        elif self._rows:
            self._row(at, code=code, verdict=verdict.verdict, headline=verdict.headline, detail=verdict.detail,
                      next=verdict.next, late_s=verdict.late_s)  # fmt: skip
        else:
            late = "" if verdict.late_s is None else f"  (scanned {ago(verdict.late_s)} ago)"
            word = verdict.verdict.upper() if verdict.late_s is None else f"LATE {verdict.verdict.upper()}"
            said = f"{code:<16}  {verdict.headline}{late}  {verdict.next}"
            self._line(at, word, said, _COLOURS.get(verdict.verdict))

    def foreign(self, at: datetime, found: Foreign) -> None:
        if self._rows:
            words = {} if self._log else {"headline": found.words}
            self._row(at, event="not ours", looks_like=found.kind, **words)
        else:
            self._line(at, "NOT OURS", f"{found.words[0].upper()}{found.words[1:]}.", None)

    def words(self, words: str) -> None:
        at = datetime.now(UTC)
        if self._rows:
            self._row(at, event="note", words=words)
        else:
            click.echo(f"{at.astimezone():%H:%M:%S}  {words}.", err=True)

    def closing(self, counts: Counts) -> None:
        """What was done, at the end."""
        if self._rows:
            self._row(
                datetime.now(UTC), event="ended", **{one.name: getattr(counts, one.name) for one in fields(counts)}
            )
            return
        parts = [f"{counts.frames} frames", f"{counts.scans} scans", f"{counts.answered} answered"]
        parts += [f"{counts.unread} frames that could not be read"] if counts.unread else []
        parts += [f"{counts.not_taken} scans not taken"] if counts.not_taken else []
        parts += (
            [f"not ours: {', '.join(f'{n} {kind}' for kind, n in sorted(counts.foreign.items()))}"]
            if counts.foreign
            else []
        )
        click.echo(f"{', '.join(parts)}.", err=True)

    @staticmethod
    def _row(at: datetime, **row: Any) -> None:
        click.echo(json.dumps({"at": at.isoformat()} | row, ensure_ascii=False))

    @staticmethod
    def _line(at: datetime, word: str, said: str, colour: str | None) -> None:
        click.echo(f"{at.astimezone():%H:%M:%S}  {click.style(f'{word:<11}', fg=colour, bold=True)} {said}".rstrip())
