"""Work: a scanner scanning, with all that is told of it."""

import os
import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import click

from scanner.alive import Alive, notify
from scanner.client import Client, EnrolError, Verdict, enrol, uptime
from scanner.decode import Sighting
from scanner.foreign import Foreign
from scanner.frames import Frame, SourceError
from scanner.light import Light
from scanner.outbox import Outbox, OutboxError, claim
from scanner.preview import PORT, Preview, PreviewError
from scanner.sound import Sound
from scanner.watch import Also, Watch
from service.cli.open import fail
from service.cli.scan.lines import Lines
from service.cli.scan.wanted import Wanted

_LOOK_ALIKE = {"check", "site"}
"""Kinds of foreign codes that whoever showed one takes for ours: they are heard as well."""


class _Told:
    """Everything that hears of a scan: the lines, the sound, the light, the preview."""

    def __init__(self, lines: Lines, sound: Sound, light: Light | None, preview: Preview | None) -> None:
        self._lines, self._sound, self._light, self._preview = lines, sound, light, preview
        self._alive = Alive()

    def verdict(self, at: datetime, code: str, verdict: Verdict) -> None:
        self._lines.verdict(at, code, verdict)
        if verdict.late_s is not None and verdict.verdict == "go":
            return
        self._sound.play(verdict.verdict)
        if self._light:
            self._light.show(verdict.verdict)
        if self._preview:
            self._preview.say(code, verdict)

    def foreign(self, at: datetime, found: Foreign) -> None:
        self._lines.foreign(at, found)
        if found.kind in _LOOK_ALIKE:
            self._sound.play("stop")
        if self._preview:
            self._preview.note(f"Not ours: {found.words}.")

    def words(self, words: str) -> None:
        self._lines.words(words)
        if "outbox" in words:
            self._sound.play("not taken")
        if self._preview:
            self._preview.note(f"{words}.")

    def seen(self, frame: Frame, sightings: list[Sighting]) -> None:
        if self._preview:
            self._preview.see(frame, sightings)

    def turn(self) -> None:
        self._alive.turn()
        if self._light:
            self._light.look()


def work(wanted: Wanted) -> None:
    """Scan until the source ends, or somebody stops it. Raises ClickException, in a line."""
    lines = Lines(as_json=wanted.as_json, log=wanted.log)
    with ExitStack() as opened, _stopped_by_sigterm():
        try:
            frames = wanted.opened()
            opened.callback(frames.close)
            opened.enter_context(claim(Path(wanted.outbox_path)))
            kept = Outbox(Path(wanted.outbox_path))
            light = Light(wanted.light, lines.words) if wanted.light is not None else None
            preview = _preview(wanted, opened)
        except (SourceError, OutboxError, PreviewError) as error:
            raise fail(str(error)) from error
        except ValueError as error:
            raise fail(f"--light cannot be used: {error}") from error
        client = Client(wanted.url, kept, lambda: datetime.now(UTC), token=_token(wanted), uptime=uptime)
        opened.callback(client.close)
        told = _Told(lines, Sound(mute=wanted.mute), light, preview)
        also = Also(words=told.words, foreign=told.foreign, seen=told.seen, turn=told.turn)
        watch = Watch(frames, wanted.station, client, told.verdict, site=wanted.site,
                      patient_pattern=wanted.patient_pattern, also=also)  # fmt: skip
        _run(watch, client, kept, wanted.patience)
        lines.closing(watch.counts)
        if light:
            light.close()
        if left := len(kept.waiting()):
            raise fail(f"{left} scans wait in the outbox: start the service, then this again", status=1)


def _run(watch: Watch, client: Client, kept: Outbox, patience: float) -> None:
    notify("READY=1")
    try:
        watch.run()
        until = time.monotonic() + patience
        while kept.waiting() and time.monotonic() < until:
            client.send_waiting()
            time.sleep(0.2)
        watch.tell_late()
    except (SourceError, OutboxError) as error:
        raise fail(str(error)) from error
    except KeyboardInterrupt:
        click.echo("Stopped.", err=True)
    finally:
        notify("STOPPING=1")


def _preview(wanted: Wanted, opened: ExitStack) -> Preview | None:
    if wanted.preview is None:
        return None
    preview = Preview(wanted.station, PORT if wanted.preview < 0 else wanted.preview)
    opened.callback(preview.close)
    click.echo(f"What the scanner sees: {preview.url}", err=True)
    return preview


@contextmanager
def _stopped_by_sigterm() -> Iterator[None]:
    """Let systemd's SIGTERM end the work as Ctrl-C does."""
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _token(wanted: Wanted) -> str:
    """This scanner's token: of the enrolment just made, from the environment, or kept here since an earlier one."""
    kept = Path(f"scanner-{wanted.station}.token")
    if wanted.enrol_code:
        try:
            token = enrol(wanted.url, wanted.enrol_code)
        except EnrolError as error:
            raise fail(f"this scanner is not enrolled: {error}") from error
        with os.fdopen(os.open(kept, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
            file.write(token)
        click.echo(f"Enrolled. Its token is in {kept}: keep it to this machine.", err=True)
        return token
    return os.environ.get("FOLDMARK_TOKEN") or (kept.read_text().strip() if kept.exists() else "")
