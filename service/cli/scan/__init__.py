"""`foldmark scan`: a scanner for one station, and what is needed to set one up."""

from pathlib import Path
from typing import Any

import click

from service.cli.open import fail
from service.cli.scan.grouped import Grouped
from service.cli.scan.wanted import Wanted
from service.stations.scan import ScanError, station_name

_GROUPS = {
    "What is scanned": ("station", "source", "url", "enrol_code", "site", "patient_pattern"),
    "The camera": ("size", "focus", "exposure", "preview"),
    "What is told": ("mute", "light", "as_json", "log"),
    "Without the service": ("outbox", "patience"),
    "Instead of scanning": ("check", "seconds", "pending", "install"),
}
_SOURCES = (
    "A camera (0, or /dev/v4l/by-id/…), a video, a folder of pictures, an http (MJPEG) or rtsp address, "
    "keys for a hand scanner that types, serial:/dev/ttyUSB0@9600 for one on a serial line."
)
_EXAMPLES = """\b
Examples:
  foldmark scan --station loading-1 --source 0 --site K7
  foldmark scan --station loading-1 --source 0 --preview
  foldmark scan --source 0 --check
  foldmark scan --station theatre-1 --source http://127.0.0.1:8081/stream
  foldmark scan --station wash-1 --source day-wash-1.avi --json
  foldmark scan --station packing-1 --source serial:/dev/ttyUSB0@9600
  foldmark scan --station store-1 --source 0 --enrol 7KQM-2XRD-94TA
  foldmark scan --station store-1 --source 0 --install
  foldmark scan --station store-1 --pending"""


@click.command(cls=Grouped, groups=_GROUPS, epilog=_EXAMPLES)
@click.option("--station", help="Where it stands: loading-1, theatre-2 …")
@click.option("--source", help=_SOURCES)
@click.option("--url", default="http://127.0.0.1:8080", show_default=True, help="The service.")
@click.option("--enrol", "enrol_code", metavar="CODE", help="First enrol this scanner with a manager's one-time code.")
@click.option("--site", envvar="FOLDMARK_SITE", help="The site's two characters: codes of other sites are not posted.")
@click.option("--patient-pattern", help="A regular expression for the practice's own wristband barcodes.")
@click.option("--size", metavar="W×H", default="1280x720", show_default=True, help="The picture to ask a camera for.")
@click.option("--focus", type=int, help="A fixed focus, in the camera's own units; its autofocus otherwise.")
@click.option("--exposure", type=int, help="A fixed exposure, in the camera's own units; its own choice otherwise.")
@click.option("--preview", type=int, is_flag=False, flag_value=-1, metavar="[PORT]",
              help="Show what the camera sees, with meters, on a page of this computer (port 8079).")  # fmt: skip
@click.option("--mute", is_flag=True, help="No sound.")
@click.option("--light", metavar="COMMAND", help="Run COMMAND with the verdict as its last word, for a lamp.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.option("--log", is_flag=True, help="One JSON object a line without names, for a journal.")
@click.option("--outbox", type=click.Path(dir_okay=False), help="Where unsent scans wait; outbox-STATION.db otherwise.")
@click.option(
    "--patience", default=5.0, show_default=True, help="Seconds to wait for the service when a file has ended."
)
@click.option(
    "--check", is_flag=True, help="Judge the bench: is the label large, sharp and lit enough? Needs no service."
)
@click.option("--seconds", default=5.0, show_default=True, help="How long --check looks.")
@click.option("--pending", is_flag=True, help="Show the scans that wait for the service, and what nobody was told yet.")
@click.option("--install", type=click.Choice(["user", "system"]), is_flag=False, flag_value="user",
              metavar="[user|system]", help="Write a systemd unit: scan from when the computer starts.")  # fmt: skip
@click.pass_context
def scan(ctx: click.Context, **options: Any) -> None:
    """Read codes from SOURCE and post them to the service: one line a verdict.

    With the service out of reach it says NOT CHECKED, keeps the scans, and sends them in order when it is back. Exit
    status 1 when scans still wait at the end, when --check finds something to change, or --pending something waiting.
    """
    wanted = Wanted(**options)
    wanted.site = wanted.site or (ctx.obj or {}).get("site")
    if wanted.check:
        _need(wanted, "source")
        from service.cli.scan.bench import check  # noqa: PLC0415  (OpenCV takes its time)

        check(wanted)
        return
    _need(wanted, "station")
    try:
        station_name(wanted.station)
    except ScanError as error:
        raise fail(str(error)) from error
    if wanted.pending:
        from service.cli.scan.pending import pending  # noqa: PLC0415

        pending(Path(wanted.outbox_path), as_json=wanted.as_json)
        return
    _need(wanted, "source")
    if wanted.install:
        from service.cli.scan.unit import install  # noqa: PLC0415

        install(wanted)
        return
    from service.cli.scan.work import work  # noqa: PLC0415

    work(wanted)


def _need(wanted: Wanted, name: str) -> None:
    if not getattr(wanted, name):
        raise fail(f"--{name} is missing: see  foldmark scan --help")
