"""`foldmark scan`: a scanner for one station."""

import json
import os
import time
from datetime import UTC, datetime
from pathlib import Path

import click

from scanner.client import Client, EnrolError, Verdict, enrol
from scanner.frames import SourceError, open_source
from scanner.outbox import Outbox, OutboxError
from scanner.sound import Sound
from scanner.watch import Watch
from service.cli.open import fail
from service.stations.scan import ScanError, station_name

_COLOURS = {"go": "green", "ask": "yellow", "stop": "red", "not checked": None}


@click.command(epilog="\b\nExamples:\n  foldmark scan --station loading-1 --source 0\n"
               "  foldmark scan --station theatre-1 --source http://127.0.0.1:8081/stream\n"
               "  foldmark scan --station wash-1 --source day-wash-1.avi --json\n"
               "  foldmark scan --station store-1 --source 0 --enrol 7KQM-2XRD-94TA")  # fmt: skip
@click.option("--station", required=True, help="Where it stands: loading-1, theatre-2 …")
@click.option(
    "--source", required=True, help="A camera number, a video file, a folder of pictures, or an MJPEG address."
)
@click.option("--url", default="http://127.0.0.1:8080", show_default=True, help="The service.")
@click.option("--outbox", type=click.Path(dir_okay=False), help="Where unsent scans wait; outbox-STATION.db otherwise.")
@click.option("--patient-pattern", help="A regular expression for the practice's own wristband barcodes.")
@click.option(
    "--patience", default=5.0, show_default=True, help="Seconds to wait for the service when a file has ended."
)
@click.option("--enrol", "enrol_code", metavar="CODE", help="First enrol this scanner with a manager's one-time code.")
@click.option("--mute", is_flag=True, help="No sound.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a verdict.")
def scan(
    station: str, source: str, url: str, outbox: str | None, patient_pattern: str | None, patience: float,
    enrol_code: str | None, *, mute: bool, as_json: bool,
) -> None:  # fmt: skip
    """Read codes from SOURCE and post them to the service: one line a verdict.

    With the service out of reach it says NOT CHECKED, keeps the scans, and sends them in order when it is back. Exit
    status 1 when scans still wait at the end.
    """
    try:
        station_name(station)
        frames = open_source(source)
        kept = Outbox(Path(outbox or f"outbox-{station}.db"))
    except (SourceError, OutboxError, ScanError) as error:
        raise fail(str(error)) from error
    client = Client(url, kept, lambda: datetime.now(UTC), token=_token(station, url, enrol_code))
    sound = Sound(mute=mute)

    def told(at: datetime, code: str, verdict: Verdict) -> None:
        _line(at, code, verdict, as_json=as_json)
        sound.play(verdict.verdict)

    watch = Watch(frames, station, client, told, patient_pattern=patient_pattern)
    try:
        client.send_waiting()
        watch.run()
        _last_sending(client, kept, patience)
    except (SourceError, OutboxError) as error:
        raise fail(str(error)) from error
    except KeyboardInterrupt:
        click.echo("Stopped.", err=True)
    finally:
        frames.close()
        client.close()
    if left := len(kept.waiting()):
        raise fail(f"{left} scans wait in the outbox: start the service, then this again", status=1)


def _token(station: str, url: str, code: str | None) -> str:
    """This scanner's token: of the enrolment just made, from the environment, or kept here since an earlier one."""
    kept = Path(f"scanner-{station}.token")
    if code:
        try:
            token = enrol(url, code)
        except EnrolError as error:
            raise fail(f"this scanner is not enrolled: {error}") from error
        with os.fdopen(os.open(kept, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
            file.write(token)
        click.echo(f"Enrolled. Its token is in {kept}: keep it to this machine.", err=True)
        return token
    return os.environ.get("FOLDMARK_TOKEN") or (kept.read_text().strip() if kept.exists() else "")


def _last_sending(client: Client, kept: Outbox, patience: float) -> None:
    until = time.monotonic() + patience
    while kept.waiting() and time.monotonic() < until:
        client.send_waiting()
        time.sleep(0.2)


def _line(at: datetime, code: str, verdict: Verdict, *, as_json: bool) -> None:
    if as_json:
        row = {"at": at.isoformat(), "code": code, "verdict": verdict.verdict, "headline": verdict.headline,
               "detail": verdict.detail, "next": verdict.next}  # fmt: skip
        click.echo(json.dumps(row, ensure_ascii=False))
        return
    word = click.style(f"{verdict.verdict.upper():<11}", fg=_COLOURS[verdict.verdict], bold=True)
    click.echo(f"{at.astimezone():%H:%M:%S}  {word} {code:<16}  {verdict.headline}  {verdict.next}".rstrip())
