"""Unit: `foldmark scan --install`, a systemd unit that starts a scanner with its computer."""

import getpass
import os
import sys
from pathlib import Path

import click

from service.cli.files import written
from service.cli.open import fail
from service.cli.scan.wanted import Wanted

_UNIT = """\
[Unit]
Description=Foldmark: the scanner at {station}
{after}StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
{user}WorkingDirectory={folder}
ExecStart={command}
{typing}Restart=always
RestartSec=2
WatchdogSec=60
TimeoutStopSec=10
SuccessExitStatus=1
SyslogIdentifier=foldmark-scan-{station}
NoNewPrivileges=true

[Install]
WantedBy={target}
"""
_TYPING = "StandardInput=tty-force\nTTYPath=/dev/tty1\nStandardOutput=journal\n"
"""Where a hand scanner types on a computer that nobody is logged in to: its first console."""


def install(wanted: Wanted) -> None:
    """Write the unit, and say where it is and what to do next. A unit of the same station is replaced."""
    whole = wanted.install == "system"
    name = f"foldmark-scan-{wanted.station}.service"
    path = _folder(whole=whole) / name
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise fail(f"{path.parent} cannot be made ({error.strerror}): --install system needs root") from error
    with written(path) as file:
        file.write(unit(wanted, Path.cwd(), whole=whole).encode())
    control = "systemctl" if whole else "systemctl --user"
    click.echo(f"{path}: the scanner at {wanted.station}, in {Path.cwd()}. Now:")
    click.echo(f"  {control} daemon-reload && {control} enable --now {name}")
    if not whole:
        click.echo("  loginctl enable-linger        so that it starts with the computer, before anybody logs in")
    click.echo(
        f"  journalctl {'' if whole else '--user '}-u {name} -f        what it says; the journal rotates by itself"
    )


def unit(wanted: Wanted, folder: Path, *, whole: bool) -> str:
    """The unit's text. It runs in `folder`, where the outbox and the token lie."""
    account = os.environ.get("SUDO_USER") or getpass.getuser()
    return _UNIT.format(
        station=wanted.station,
        folder=str(folder).replace("%", "%%"),
        command=" ".join(_quoted(word) for word in _command(wanted)),
        user=f"User={account}\nSupplementaryGroups=video audio dialout\n" if whole else "",
        after="After=network.target\n" if whole else "",
        typing=_TYPING if wanted.source == "keys" else "",
        target="multi-user.target" if whole else "default.target",
    )


def _folder(*, whole: bool) -> Path:
    if whole:
        return Path("/etc/systemd/system")
    return Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config") / "systemd" / "user"


def _command(wanted: Wanted) -> list[str]:
    source = wanted.source
    if "://" not in source and not source.startswith("serial:") and Path(source).exists():
        source = str(Path(source).absolute())
    words = [sys.executable, "-m", "service.cli", "scan", "--station", wanted.station, "--source", source]
    words += ["--url", wanted.url, "--size", wanted.size, "--log"]
    for name in ("site", "patient_pattern", "focus", "exposure", "light", "outbox"):
        if (value := getattr(wanted, name)) is not None:
            words += [f"--{name.replace('_', '-')}", str(value)]
    if wanted.preview is not None:
        words += ["--preview"] if wanted.preview < 0 else ["--preview", str(wanted.preview)]
    return words + (["--mute"] if wanted.mute else [])


def _quoted(word: str) -> str:
    """A word as systemd.service(5) takes it in ExecStart: quoted, with its own signs doubled."""
    for sign, written_as in (("\\", "\\\\"), ('"', '\\"'), ("%", "%%"), ("$", "$$")):
        word = word.replace(sign, written_as)
    return f'"{word}"' if not word or set(word) & set(" \t'\"\\;") else word
