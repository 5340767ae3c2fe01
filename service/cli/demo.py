"""`foldmark demo`: the invented practice."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.cli.open import fail, settings_of

if TYPE_CHECKING:
    from service.demo.run import Played

DEFAULT_OUT = "demo-out"


@click.command(epilog="\b\nExamples:\n  foldmark demo                          play it, then serve its pages\n"
               "  foldmark demo --once --out demo-out    play it and leave its files\n"
               "  foldmark demo --once --shots shots     a picture of every page as well")  # fmt: skip
@click.option("--once", is_flag=True, help="Write the files and stop, instead of serving the pages.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=DEFAULT_OUT, show_default=True,
              help="The folder for its files.")  # fmt: skip
@click.option("--shots", type=click.Path(file_okay=False, path_type=Path),
              help="Take a picture of every page into this folder, with the system's Chromium.")  # fmt: skip
@click.pass_context
def demo(ctx: click.Context, out: Path, shots: Path | None, *, once: bool) -> None:
    """Play three weeks at Tarn Bridge, one day of them before a camera, up to a recall.

    Everything in it is invented. The scans of the filmed day are read from video made from real labels, and posted over
    HTTP to the running service.
    """
    from scanner.film import FilmError  # noqa: PLC0415  (keeps `foldmark --help` quick)
    from service.demo import tarn_bridge as tb  # noqa: PLC0415
    from service.demo.run import play  # noqa: PLC0415
    from service.demo.stage import DemoError  # noqa: PLC0415

    if shots:
        _can_take()
    try:
        played = play(out, settings_of(ctx).practice, lambda line: click.echo(line, err=True))
    except DemoError as error:
        raise fail(f"the demo went wrong: {error}", status=1) from error
    except (FilmError, OSError) as error:
        raise fail(
            f"the demo cannot be written to {out} ({error}): check the folder and the space on the disk"
        ) from error
    _tell(played.summary, out)
    if shots:
        _take(played, shots)
    if once:
        played.stage.close()
        return
    played.stage.clock.let_go()
    click.echo(f"\nThe board is at {played.stage.url}/  (stop with Ctrl-C). Sign in as one of these:")
    for badge, name, roles, _ in tb.STAFF:
        click.echo(f"  {badge}  PIN {played.stage.pin(badge)}  {name}, {' and '.join(roles)}")
    try:
        played.stage.wait()
    except KeyboardInterrupt:
        played.stage.close()


def _can_take() -> None:
    from service.demo.shots import ShotsError, browser_path  # noqa: PLC0415  (keeps `foldmark --help` quick)

    try:
        browser_path()
    except ShotsError as error:
        raise fail(str(error)) from error


def _take(played: "Played", folder: Path) -> None:
    from service.demo.shots import ShotsError, take  # noqa: PLC0415  (keeps `foldmark --help` quick)

    played.stage.clock.let_go()
    try:
        count = take(played.stage, played.summary["notable"], folder, lambda line: click.echo(line, err=True))
    except (ShotsError, OSError) as error:
        played.stage.close()
        raise fail(f"no pictures in {folder}: {error}") from error
    click.echo(f"{count} pictures of the pages in {folder}: open index.html")


def _tell(summary: dict[str, object], out: Path) -> None:
    film, recall, opened = (summary[key] for key in ("filmed", "recall", "opened"))
    assert isinstance(film, dict)  # noqa: S101  (the shape is made in demo.run)
    assert isinstance(recall, dict)  # noqa: S101
    assert isinstance(opened, dict)  # noqa: S101
    counts = recall["counts"]
    click.echo(
        f"\n{summary['practice']}: {summary['sets']} sets, {summary['packs']} packs, "
        f"{summary['steam_loads']} steam loads"
    )
    click.echo(
        f"before the camera: {film['shown']} labels shown, {film['scans']} scans arrived, {film['frames']} frames"
    )
    click.echo(f"{summary['facts']} facts in {out}/practice.db, played in {summary['seconds']} s")
    click.echo(f"pack {opened['pack']} opened for {opened['patient']}: "
               f"{'no gap in the record' if not opened['gaps'] else opened['gaps']}")  # fmt: skip
    click.echo(f"recall of load {recall['load']}, reach {recall['reach']}: {counts['packs']} packs, "
               f"{counts['patients']} patients, {counts['loads']} loads")  # fmt: skip
    click.echo(f"Foldmark advises; the practice's own procedures, local codes and the licensed practitioner decide.\n"
               f"Look at {out}: labels.pdf, recall.pdf, custody.json, cycle.svg")  # fmt: skip
