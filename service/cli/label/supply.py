"""`foldmark label supply`: what the code on a maker's box says."""

import json
from dataclasses import asdict
from pathlib import Path

import click
import numpy as np
from PIL import Image, UnidentifiedImageError

from label_templates import supplies
from label_templates.supplies import SupplyError
from service.cli.open import fail


@click.command(
    epilog="\b\nExamples:\n  foldmark label supply box.jpg\n  foldmark label supply '(01)09506000134352(10)A1B2'"
)
@click.argument("told", metavar="PICTURE or TEXT")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def supply(told: str, *, as_json: bool) -> None:
    """What the GS1 code on a box of supplies or an implant says, from a picture or as a hand scanner sent it, checked.

    Exit status 1 when there is none, or it does not hold.
    """
    try:
        found = [supplies.parse(text) for text in _texts(told)]
    except SupplyError as error:
        raise fail(f"{error}", status=1) from error
    if as_json:
        click.echo(json.dumps([asdict(one) for one in found], default=str))
        return
    for one in found:
        rows = (("GTIN", one.gtin), ("lot", one.lot), ("good until", one.expires), ("serial", one.serial))
        click.echo("   ".join(f"{name} {value}" for name, value in rows if value) or str(one.parts))


def _texts(told: str) -> list[str]:
    path = Path(told)
    if supplies.looks_like_one(told) or not path.suffix:
        return [told]
    try:
        with Image.open(path) as picture:
            found = supplies.read(np.asarray(picture.convert("L")))
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError) as error:
        raise fail(f"{told} is no picture that can be read ({error}): check the file") from error
    if not found:
        raise fail(f"no maker's code is seen in {told}: take it closer and flatter", status=1)
    return found
