"""`foldmark label grade`: what a printed label's symbols are worth, from a photograph or a scan of it."""

import json
import sys
from collections.abc import Sequence
from pathlib import Path

import click
from PIL import Image

from label_templates.grade import LETTERS, Grade, PictureError, grade
from label_templates.grade.photo import dots_per_inch, grey, opened
from label_templates.grade.picture import annotated, cells_of
from service.cli.files import written
from service.cli.open import fail

_KINDS = {"QR": "QR code", "CODE128": "Code 128"}
_LARGEST = 100_000_000


@click.command("grade", epilog="\b\nExamples:\n  foldmark label grade photo.jpg\n"
               "  foldmark label grade photo.jpg -o graded.png --least B\n"
               "  foldmark label grade scan.png --dpi 203.2        the printer's, where the scan says its own\n"
               "  foldmark label grade photo.jpg --dots-per-module 3 --json")  # fmt: skip
@click.argument("photo", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("-o", "--out", type=click.Path(dir_okay=False, path_type=Path),
              help="Write the picture with its symbols outlined and their grades beside it: a PNG.")  # fmt: skip
@click.option("--dpi", type=click.FloatRange(50, 5000), help="The printer's dots an inch; PHOTO must say its own.")
@click.option("--dots-per-module", type=click.FloatRange(1, 200), help="Printer dots a module has.")
@click.option("--least", type=click.Choice(list("ABCD")), default="C", show_default=True, help="Least grade.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def grade_label(
    photo: Path, out: Path | None, dpi: float | None, dots_per_module: float | None, least: str, *, as_json: bool
) -> None:
    """Grade every QR code and Code 128 in PHOTO: a photograph, a scan, or a label as drawn.

    In the manner of ISO/IEC 15415 and 15416: a check by software, not a verification by an ISO instrument. Grade a
    label after changing ribbon, stock, darkness or speed, and one after it has been through the autoclave.

    Exit status 1 when a symbol is below the least grade, or none is read.
    """
    if dpi and dots_per_module:
        raise fail("--dpi and --dots-per-module say the same in two ways: give one of them")
    try:
        picture = opened(_bytes(photo))
        found = grade(grey(picture), dots_per_module=dots_per_module, dots_per_pixel=_scale(photo, picture, dpi))
    except PictureError as error:
        raise fail(f"{photo}: {error}") from error
    if not found:
        raise fail(f"{photo}: no QR code or Code 128 is read in it: photograph one label flat, close and in focus", 1)
    if out:
        with written(out) as stream:
            annotated(picture, found, least).save(stream, "PNG")
    met = all(LETTERS.index(one.letter) >= LETTERS.index(least) for one in found)
    if as_json:
        click.echo(json.dumps({"picture": str(photo), "least": least, "met": met,
                               "symbols": [one.to_json() for one in found]}, ensure_ascii=False))  # fmt: skip
    else:
        _tell(found)
    sys.exit(0 if met else 1)


def _bytes(photo: Path) -> bytes:
    try:
        if photo.stat().st_size > _LARGEST:
            raise fail(f"{photo} is larger than {_LARGEST // 10**6} MB: save the picture smaller")
        return photo.read_bytes()
    except OSError as error:
        raise fail(f"{photo} cannot be read ({error.strerror})") from error


def _scale(photo: Path, picture: Image.Image, dpi: float | None) -> float | None:
    """Printer dots a pixel, from the printer's dots an inch and the picture's own."""
    if dpi is None:
        return None
    own = dots_per_inch(picture)
    if own is None:
        raise fail(f"{photo} does not say its own resolution, as a scan does: give --dots-per-module instead of --dpi")
    return dpi / own


def _tell(found: Sequence[Grade]) -> None:
    for one in found:
        click.echo(f"{one.shown}  {_KINDS[one.symbology]}  {one.letter}  {one.number:.1f}")
        rows = [("", "value", "grade", "4.0 from", ""), *((*cells_of(each), each.source) for each in one.parameters)]
        widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
        for row in rows:
            cells = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
            click.echo(f"  {cells}".rstrip())
        for line in one.advice:
            click.echo(f"  DO: {line}")
        click.echo(f"  {one.edition}\n")
    for note in dict.fromkeys(note for one in found for note in one.notes):
        click.echo(note)
