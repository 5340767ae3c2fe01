"""Bench: `foldmark scan --check`, is this bench set up so that labels read?"""

import json
import sys
import time
from contextlib import closing
from dataclasses import asdict

import click

from scanner.aim import Aim, aim
from scanner.check import judge
from scanner.decode import read
from scanner.foreign import sort
from scanner.frames import Frame, Source, SourceError, Words
from scanner.sources.pictures import PictureError, as_picture
from service.cli.open import fail
from service.cli.scan.wanted import Wanted


def check(wanted: Wanted) -> None:
    """Look for some seconds, print what was found; exit status 1 when something is to be changed."""
    try:
        frames = wanted.opened()
        with closing(frames):
            aims, fps = _looked(frames, wanted)
    except SourceError as error:
        raise fail(str(error)) from error
    if not aims:
        raise fail(f"{wanted.source} gave no picture in {wanted.seconds:g} s: --check looks through a camera or a film")
    found = judge(aims, fps)
    good = all(one.ok for one in found)
    if wanted.as_json:
        click.echo(json.dumps({"ok": good, "findings": [asdict(one) for one in found]}, ensure_ascii=False))
    else:
        for one in found:
            word = "ok" if one.ok else "CHANGE"
            click.echo(f"{word:<7} {one.what:<26} {one.value:>6.1f}  {one.limit:<24}  {one.change}".rstrip())
        click.echo("The bench is good." if good else "Change this, and check again.")
    sys.exit(0 if good else 1)


def _looked(frames: Source, wanted: Wanted) -> tuple[list[Aim], float]:
    """How labels lay in the frames of these seconds, and how many frames came in one of them."""
    aims, times = [], []
    until = time.monotonic() + wanted.seconds
    for given in frames:
        if isinstance(given, Frame):
            times.append(given.at_s)
            aims.append(_aimed(given, frames, wanted))
        elif isinstance(given, Words):
            click.echo(f"{given.words}.", err=True)
        if (times and times[-1] - times[0] >= wanted.seconds) or (frames.live and time.monotonic() > until):
            break
    span = times[-1] - times[0] if times else 0.0
    return aims, (len(times) - 1) / span if frames.live and span else frames.fps


def _aimed(frame: Frame, frames: Source, wanted: Wanted) -> Aim:
    """How the labels of ours lie in a frame; what else can be read is no measure of the bench."""
    try:
        image = as_picture(frame.image)
    except PictureError as error:
        raise SourceError(f"{wanted.source}: {error}") from error
    seen = read(image, 1 / frames.fps)
    return aim(image, [one for one in seen if isinstance(sort(one, wanted.site, wanted.patient_pattern), str)])
