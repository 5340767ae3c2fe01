"""Labels for packs, and the slips printed at loading."""

from collections.abc import Iterable, Sequence
from typing import Any

import click

from label_templates import codes
from label_templates.labels import Label, PackLabel
from service.cli.label.drawing import mark_from, outputs, write
from service.cli.open import fail, reading
from service.cli.printing import load_slip, pack_label


@click.command()
@click.argument("codes_", metavar="CODE…", nargs=-1, required=True)
@click.option("--name", default="", help="The set's name.")
@click.option("--mark", help='Colour and pattern, such as "blue, two bars".')
@click.option("--packed-by", default="", help="The badge of who packed it.")
@click.option("--packed-at", default="", help="When, such as 2026-03-04T10:12.")
@click.option("--short", multiple=True, help="A line of the sheet it lacks; may be given again.")
@click.option("--from-ledger", is_flag=True, help="Take all of that from the ledger.")
@outputs
@click.pass_context
def packs(
    ctx: click.Context, codes_: tuple[str, ...], name: str, mark: str | None, packed_by: str, packed_at: str,
    short: tuple[str, ...], *, from_ledger: bool, **output: Any,
) -> None:  # fmt: skip
    """Labels for packs. The load, the sterilising date and the use-by go on a load slip: see `slips`."""

    def make() -> Iterable[Label]:
        if from_ledger:
            return _packs_from_ledger(ctx, codes_)
        return [PackLabel(code, name or code, mark_from(mark), packed_by, packed_at, short) for code in codes_]

    write(make, **output)


def _packs_from_ledger(ctx: click.Context, wanted: Sequence[str]) -> list[Label]:
    found: list[Label] = []
    with reading(ctx) as reader:
        state = reader.state
        for text in wanted:
            pack = state.pack(codes.parse_as(text, "P").text)
            owner = state.set(pack.set) if pack else None
            if pack is None or owner is None or pack.packed_at is None:
                raise fail(f"no pack was packed under {text} in this ledger: check the code")
            found.append(pack_label(owner, pack, state.practice.zone))
    return found


@click.command()
@click.argument("load")
@outputs
@click.pass_context
def slips(ctx: click.Context, load: str, **output: Any) -> None:
    """Load slips for LOAD, one a pack: the load, its day in steam, the use-by. Printed at loading."""

    def make() -> Iterable[Label]:
        with reading(ctx) as reader:
            state = reader.state
            record = state.load(codes.parse_as(load, "L").text)
            if record is None or record.started_at is None:
                raise fail(f"load {load} was not started in this ledger: start it at loading first")
            machine = state.machine(record.machine)
            there = [pack for code in record.packs if (pack := state.pack(code))]
            return [load_slip(record, machine, pack, state.practice.zone) for pack in there]

    write(make, **output)
