"""`foldmark cycle`: judge a log with no ledger at all."""

import json
import sys
from pathlib import Path

import click

from service.cli.files import written
from service.cli.open import fail
from service.steam.charts import cycle_svg
from service.steam.cycle import LARGEST, Cycle, CycleError
from service.steam.judge import Judgement, judge
from service.steam.logs.log import read_csv
from service.steam.programme import ProgrammeError
from service.steam.programme import programme as programme_named


@click.command(epilog="\b\nExamples:\n  foldmark cycle load-0331.csv --programme 134/3\n"
               "  foldmark cycle load-0331.csv --programme 121/15 --json --svg chart.svg")  # fmt: skip
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--programme", "name", required=True, help="Temperature and minutes, such as 134/3.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.option("--svg", type=click.Path(dir_okay=False, path_type=Path), help="Draw the cycle into this file.")
def cycle(file: Path, name: str, svg: Path | None, *, as_json: bool) -> None:
    """Judge the cycle log FILE (CSV: seconds, temperature_c and, where logged, pressure_kpa absolute).

    Exit status 1 when it fails or cannot be judged. Foldmark advises; the practice's own procedures, local codes and
    the licensed practitioner decide.
    """
    try:
        limits = programme_named(name)
        with file.open("rb") as stream:
            log: Cycle = read_csv(stream.read(LARGEST + 1))
    except (CycleError, ProgrammeError) as error:
        raise fail(f"{file.name}: {error}") from error
    except OSError as error:
        raise fail(f"{file} cannot be read ({error.strerror})") from error
    found = judge(log, limits)
    if svg:
        with written(svg) as stream:
            stream.write(cycle_svg(log, found, limits, title=f"{file.name}, programme {limits.name}").encode())
    click.echo(json.dumps(found.to_json(), ensure_ascii=False)) if as_json else _tell(found)
    sys.exit(0 if found.verdict == "pass" else 1)


def _tell(found: Judgement) -> None:
    click.echo(f"{found.verdict.upper()}  programme {found.programme}")
    if found.plateau:
        p = found.plateau
        click.echo(f"  plateau {p.start_s:g}–{p.end_s:g} s, {p.lowest_c:.2f}–{p.highest_c:.2f} °C")
    for one in found.criteria:
        mark = {True: "ok", False: "NOT MET", None: "cannot tell"}[one.ok]
        click.echo(f"  {one.name}: {one.value}; {one.limit}: {mark}  [{one.source}]")
    click.echo(f"  F0 {found.f0_min:.2f} min")
    for note in found.notes:
        click.echo(f"  {note}")
