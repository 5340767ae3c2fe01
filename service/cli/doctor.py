"""`foldmark doctor`: is everything here?"""

import importlib.metadata
import json
import platform
import shutil
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import click

from service.api.listen import PortError, free_port
from service.cli.open import key_path, open_ledger, settings_of
from service.ledger.keys import load_key
from service.ledger.store import LedgerError
from service.settings import Settings


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at. `needed` things that are not `ok` make the answer no."""

    what: str
    ok: bool
    needed: bool
    says: str


def _parts(_settings: Settings) -> list[Finding]:
    found = [Finding("Python", sys.version_info >= (3, 11), needed=True, says=platform.python_version())]
    names = ("zxing-cpp", "opencv-python-headless", "sqlite-utils", "reportlab")
    return found + [_part(name) for name in names]


def _part(name: str) -> Finding:
    try:
        return Finding(name, ok=True, needed=True, says=importlib.metadata.version(name))
    except importlib.metadata.PackageNotFoundError:
        return Finding(name, ok=False, needed=True, says="not installed: install Foldmark again")


def _second_opinion(_settings: Settings) -> list[Finding]:
    try:
        from scanner.decode import second_opinion  # noqa: PLC0415  (OpenCV takes its time)
    except ImportError as error:
        return [Finding("the scanner", ok=False, needed=True, says=f"cannot read: {error}. Install Foldmark again")]
    there = second_opinion()
    says = "the scanner's second opinion" if there else "not installed: the scanner reads with zxing-cpp alone"
    return [Finding("libzbar", there, needed=False, says=says)]


def _cameras(_settings: Settings) -> list[Finding]:
    found = sorted(path.name for path in Path("/dev").glob("video*"))
    says = ", ".join(found) or "none seen: plug one in, or scan with a tablet, a stream or a keyboard scanner"
    return [Finding("camera", bool(found), needed=False, says=says)]


def _sound(_settings: Settings) -> list[Finding]:
    player = shutil.which("aplay")
    return [Finding("sound", bool(player), needed=False, says=player or "no aplay: the terminal's bell rings instead")]


def _ledger(settings: Settings) -> list[Finding]:
    try:
        ledger, practice = open_ledger(settings)
        try:
            with ledger.batch(0):
                pass
            with ledger.reading() as reader:
                named = reader.keys()
        finally:
            ledger.close()
    except LedgerError as error:
        return [Finding("ledger", ok=False, needed=True, says=str(error))]
    there = Finding("ledger", ok=True, needed=True, says=f"{ledger.place}, site {practice.site}, can be written")
    return [there, _key(settings, practice.site, named[-1].data["key"] if named else None)]


def _key(settings: Settings, site: str, named: str | None) -> Finding:
    """Whether the key that the record names is at hand: without it no checkpoint is signed."""
    path = key_path(settings, site)
    try:
        key = load_key(path)
    except LedgerError as error:
        return Finding("signing key", ok=False, needed=False, says=str(error))
    if key.public != named:
        return Finding("signing key", ok=False, needed=False, says=f"{path} is not the key that the record names")
    return Finding("signing key", ok=True, needed=False, says=f"{path}, {key.public[:16]}")


def _port(settings: Settings) -> list[Finding]:
    try:
        free_port(settings.host, settings.port).close()
    except PortError as error:
        return [Finding("port", ok=False, needed=False, says=f"{error}; or the service runs already")]
    return [Finding("port", ok=True, needed=False, says=f"{settings.host}:{settings.port} is free")]


LOOKS: tuple[Callable[[Settings], list[Finding]], ...] = (_parts, _second_opinion, _cameras, _sound, _ledger, _port)


@click.command(epilog="\b\nExamples:\n  foldmark doctor\n  foldmark --ledger /srv/k7.db doctor --json\n"
               "  foldmark doctor --camera\n  foldmark doctor --camera 0")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.option("--camera", is_flag=False, flag_value="all", metavar="[SOURCE]",
              help="Look at the cameras instead: which there are, what each can do, is its picture well.")  # fmt: skip
@click.pass_context
def doctor(ctx: click.Context, camera: str | None, *, as_json: bool) -> None:
    """Is everything here that Foldmark needs? Exit status 1 when something needed is not."""
    if camera is None:
        settings = settings_of(ctx)
        found = [finding for look in LOOKS for finding in look(settings)]
    else:
        from service.cli.cameras import looked_at  # noqa: PLC0415  (OpenCV takes its time)

        found = [Finding(what, ok=ok, needed=True, says=says) for what, ok, says in looked_at(camera)]
    good = all(finding.ok or not finding.needed for finding in found)
    if as_json:
        click.echo(json.dumps({"ok": good, "findings": [asdict(finding) for finding in found]}, ensure_ascii=False))
    else:
        for one in found:
            word = "ok" if one.ok else "MISSING" if one.needed else "not here"
            click.echo(f"{word:<9} {one.what:<24} {one.says}")
    sys.exit(0 if good else 1)
