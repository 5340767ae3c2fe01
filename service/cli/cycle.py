"""`foldmark cycle`: read a log, say what was understood of it, and judge it, with no ledger at all."""

import json
import sys
from pathlib import Path
from typing import Any

import click

from service.cli.files import written
from service.cli.open import fail
from service.steam.charts import cycle_svg
from service.steam.cycle import LARGEST, CycleError
from service.steam.judge import Judged, Judgement, judge
from service.steam.logs.log import Log, read, understand
from service.steam.logs.mapping import Mapping, of_toml
from service.steam.logs.text import refuse_size
from service.steam.programme import BANDS, ProgrammeError
from service.steam.programme import programme as programme_named

PASTED = Path("-")


@click.command(epilog="\b\nExamples:\n  foldmark cycle load-0331.csv --programme 134/3\n"
               "  foldmark cycle load-0331.csv --programme 121/15 --json --svg chart.svg --pdf sheet.pdf\n"
               "  foldmark cycle printout.txt --mapping steriliser-1.toml --try\n"
               "  foldmark cycle - --mapping gauge.toml --altitude 1500 --programme 121/15 < typed.txt")  # fmt: skip
@click.argument("file", type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path))
@click.option("--programme", "name", help="Temperature and minutes, such as 134/3.")
@click.option("--band", type=click.Choice(list(BANDS)), help="Judge by this band instead of the programme's own.")
@click.option("--mapping", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="How this machine writes its logs: a TOML file, see docs/cycles.md.")  # fmt: skip
@click.option("--try", "tries", is_flag=True, help="Print what was understood of the log; judge nothing.")
@click.option("--altitude", type=float, default=0.0, help="Metres above the sea, for a gauge's pressures.")
@click.option("--tz", default="UTC", help="The time zone of the log's clock, such as Europe/London.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.option("--svg", type=click.Path(dir_okay=False, path_type=Path), help="Draw the cycle into this file.")
@click.option(
    "--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write its sheet, to print, into this file."
)
def cycle(file: Path, name: str | None, band: str | None, mapping: Path | None, altitude: float, tz: str,
          svg: Path | None, pdf: Path | None, *, tries: bool, as_json: bool) -> None:  # fmt: skip
    """Judge the cycle log FILE, or what is pasted to standard input where FILE is -.

    A log is a CSV, a printer's lines or readings somebody typed. Nothing is stored, and no ledger is needed.

    Exit status 1 when it fails or cannot be judged; with --try, when something must be said before it can be. Foldmark
    advises; the practice's own procedures, local codes and the licensed practitioner decide.
    """
    if name is None and not tries:
        raise fail("which programme? Say --programme, such as 134/3; or --try to see what is understood of the log")
    title = "pasted" if file == PASTED else file.name
    try:
        how = _mapping(mapping)
        found = (understand if tries else read)(_bytes(file), how, altitude_m=altitude, tz=tz)
        limits = programme_named(name) if name else None
        limits = limits.within(band) if limits and band else limits
    except (CycleError, ProgrammeError) as error:
        raise fail(f"{title}: {error}") from error
    if tries or limits is None:
        click.echo(json.dumps(_tried(found), ensure_ascii=False)) if as_json else _tell_tried(found)
        sys.exit(1 if found.doubts else 0)
    judged = judge(found.cycle, limits)
    if svg:
        with written(svg) as stream:
            stream.write(cycle_svg(found.cycle, judged, limits, title=f"{title}, programme {limits.name}").encode())
    if pdf:
        _write_sheet(pdf, Judged(found.cycle, judged, limits), title, found.sha256)
    click.echo(json.dumps(judged.to_json(), ensure_ascii=False)) if as_json else _tell(judged)
    sys.exit(0 if judged.verdict == "pass" else 1)


def _write_sheet(path: Path, judged: Judged, title: str, sha256: str) -> None:
    from service.pages.papers.cycle_sheet import cycle_pdf  # noqa: PLC0415  (drawing a PDF is seldom asked for)

    with written(path) as stream:
        stream.write(cycle_pdf(judged, title, sha256))


def _bytes(file: Path) -> bytes:
    """The bytes of a log, of which one too large is refused before it is read."""
    if file == PASTED:
        return sys.stdin.buffer.read(LARGEST + 1)
    try:
        refuse_size(file.stat().st_size)
        with file.open("rb") as stream:
            return stream.read(LARGEST + 1)
    except OSError as error:
        raise fail(f"{file} cannot be read ({error.strerror})") from error


def _mapping(file: Path | None) -> Mapping | None:
    if file is None:
        return None
    try:
        return of_toml(file.read_text("utf-8"))
    except CycleError as error:
        raise fail(f"{file.name}: {error}") from error
    except (OSError, UnicodeDecodeError) as error:
        raise fail(f"the mapping {file} cannot be read ({error})") from error


def _tried(found: Log) -> dict[str, Any]:
    return {
        "understood": dict(found.understood),
        "asks": list(found.doubts),
        "started_at": found.started_at.isoformat() if found.started_at else None,
        "counter": found.counter,
        "sha256": found.sha256,
        "mapping": json.loads(found.mapping.to_json()),
    }


def _tell_tried(found: Log) -> None:
    for what, words in found.understood:
        click.echo(f"{what + ':':15} {words}")
    for question in found.doubts:
        click.echo(f"{'ASKS:':15} {question}")


def _tell(found: Judgement) -> None:
    click.echo(f"{found.verdict.upper()}  programme {found.programme}")
    if found.plateau:
        p = found.plateau
        click.echo(f"  plateau {p.start_s:g}–{p.end_s:g} s, {p.lowest_c:.2f}–{p.highest_c:.2f} °C")
    for one in found.criteria:
        mark = {True: "met", False: "NOT MET", None: "not judged"}[one.ok]
        click.echo(f"  {one.name}: {one.value}; {one.limit}: {mark}  [{one.source}]")
    for phase in found.phases:
        click.echo(f"  {phase.name}: {phase.start_s:g}–{phase.end_s:g} s")
    click.echo(f"  F0 {found.f0_min:.2f} min, by the trapezium rule within {found.f0_error_min:.2f} min")
    for note in found.notes:
        click.echo(f"  {note}")
