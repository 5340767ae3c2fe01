"""Pending: `foldmark scan --pending`, what waits for the service and what nobody was told yet."""

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from scanner.outbox import MOST, Outbox, OutboxError
from service.cli.open import fail
from service.cli.scan.lines import ago


def pending(path: Path, *, as_json: bool) -> None:
    """Print it. Exit status 1 when something waits, or somebody has to be told."""
    found = _read(path)
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False))
    else:
        _print(found)
    sys.exit(1 if found["held"] else 0)


def _read(path: Path) -> dict[str, Any]:
    if not path.exists():
        return {"outbox": str(path), "held": 0, "most": MOST, "waiting": [], "refused": [], "late": []}
    try:
        box = Outbox(path)
    except OutboxError as error:
        raise fail(str(error)) from error
    try:
        return {
            "outbox": str(path),
            "held": box.held(),
            "most": box.most,
            "waiting": [one.scan for one in box.waiting()],
            "refused": [scan | {"why": why} for scan, why in box.refused()],
            "late": [scan | answer for scan, answer in box.late()],
        }
    finally:
        box.close()


def _print(found: dict[str, Any]) -> None:
    if not found["held"]:
        click.echo(f"Nothing waits in {found['outbox']}, and everybody was told.")
        return
    click.echo(f"{found['outbox']} holds {found['held']} of at most {found['most']} scans.")
    titles = {
        "waiting": "wait for the service, in this order",
        "refused": "could not be taken by the service; told at the next badge",
        "late": "were answered late; told at the next badge",
    }
    for key, title in titles.items():
        if found[key]:
            click.echo(f"{len(found[key])} {title}:")
        for scan in found[key]:
            said = scan.get("why") or " ".join(filter(None, (scan.get("verdict", "").upper(), scan.get("headline"))))
            click.echo(f"  {_when(scan)}  {scan.get('code', ''):<16}  {said}".rstrip())


def _when(scan: dict[str, Any]) -> str:
    seen = datetime.fromisoformat(scan["seen_at"])
    return f"{seen.astimezone():%d %B %H:%M:%S} ({ago((datetime.now(UTC) - seen).total_seconds())} ago)"
