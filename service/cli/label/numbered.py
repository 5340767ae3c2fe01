"""Labels that bear a number of their own: load cards, badges, shelves, patient cards, instruments."""

import click

from service.cli.label.drawing import Output, outputs
from service.cli.label.issuing import MAKE, ask, first_printed, named, office, reprinted, told_if_unprinted
from service.cli.open import fail
from service.custody.rules.issuing import MOST_AT_ONCE, SERIES_OF

_SAMPLE = {"patients": "patient", "badges": "badge", "shelves": "shelf", "instruments": "instrument", "loads": "load"}
"""The kind of label of each: one of it is tried before codes are issued."""
_LETTERS = {**{kind: (letter,) for kind, letter in SERIES_OF.items()}, "loads": ("L", "W")}


def _print(
    ctx: click.Context, kind: str, told: tuple[str, ...], count: int, machine: str | None, output: Output
) -> None:
    make, again = MAKE[kind], named(told, *_LETTERS[kind])
    if again:
        output.check(len(again) * output.copies)
    else:
        output.suits(_SAMPLE[kind], count * output.copies)
    with office(ctx, again[0] if again else None) as desk:
        if again:
            output.write(reprinted(desk, again, make, output))
            return
        more = {"machine": machine} if machine else {}
        issued = ask(desk, "issue codes", kind=kind, count=count, **more)["codes"]
        with told_if_unprinted(issued, f"foldmark label {kind} --again"):
            output.write(first_printed(desk, issued, make, output))
        if not output.as_json:
            click.echo(f"New: {' to '.join(dict.fromkeys((issued[0], issued[-1])))}.")


def _numbered(kind: str, words: str) -> click.Command:
    @click.command(kind, help=f"{words} New ones, or copies of the codes named: one by one, or as FIRST..LAST.")
    @click.argument("codes_", metavar="[CODE…]", nargs=-1)
    @click.option("--again", is_flag=True, help="Print the codes named again; without it they are all the same.")
    @click.option("--count", default=24, type=click.IntRange(1, MOST_AT_ONCE), help="How many new; 24 unless told.")
    @outputs
    @click.pass_context
    def numbered(ctx: click.Context, codes_: tuple[str, ...], count: int, output: Output, *, again: bool) -> None:
        _named_if(again, codes_)
        _print(ctx, kind, codes_, count, None, output)

    return numbered


def _named_if(again: bool, told: tuple[str, ...]) -> None:
    if again and not told:
        raise fail("--again takes the codes to print again: name them, or leave it out for new ones")


badges = _numbered("badges", "Badges.")
shelves = _numbered("shelves", "Shelf labels.")
patients = _numbered("patients", "A roll of provisional patient codes.")
instruments = _numbered("instruments", "Codes for single instruments.")


@click.command()
@click.argument("codes_", metavar="[CODE…]", nargs=-1)
@click.option("--again", is_flag=True, help="Print the codes named again; without it they are all the same.")
@click.option("--machine", help="Such as L-K7-1 (steam) or W-K7-1 (wash): whose new cards.")
@click.option("--count", default=24, type=click.IntRange(1, MOST_AT_ONCE), help="How many new; 24 unless told.")
@outputs
@click.pass_context
def loads(
    ctx: click.Context, codes_: tuple[str, ...], machine: str | None, count: int, output: Output, *, again: bool
) -> None:
    """Load cards, laid with the machine until used. New ones, or copies of the codes named, also as FIRST..LAST."""
    _named_if(again, codes_)
    if not codes_ and not machine:
        raise fail("new load cards are a machine's: name it, such as --machine L-K7-1")
    _print(ctx, "loads", codes_, count, machine, output)
