"""Labels for packs, and the slips printed at loading."""

import click

from label_templates import codes
from label_templates.codes import CodeError
from service.cli.label.drawing import Output, outputs
from service.cli.label.issuing import label_of_pack, named, office, reprinted
from service.cli.open import fail, reading
from service.stations.desk import Desk
from service.stations.printed import load_slip


@click.command()
@click.argument("codes_", metavar="[CODE…]", nargs=-1)
@click.option("--from-ledger", is_flag=True, hidden=True, expose_value=False)
@outputs
@click.pass_context
def packs(ctx: click.Context, codes_: tuple[str, ...], output: Output) -> None:
    """Labels for packs: those named, or every pack that was packed and has none yet. A second one is a copy.

    The load, the sterilising date and the use-by go on a load slip: see `slips`.
    """
    told = named(codes_, "P")
    with office(ctx, told[0] if told else None) as desk:
        output.write(reprinted(desk, told or _bare(desk), label_of_pack, output))


def _bare(desk: Desk) -> list[str]:
    """The packs that were packed and never labelled, and wait for it."""
    with desk.ledger.reading() as reader:
        present = [pack for owner in reader.state.sets() if (pack := reader.state.pack(owner.pack))]
        return [one.code for one in present if not one.prints and reader.state.where(one) == "packed"]


@click.command()
@click.argument("load")
@outputs
@click.pass_context
def slips(ctx: click.Context, load: str, output: Output) -> None:
    """Load slips for LOAD, one a pack: the load, its day in steam, the use-by. Printed at loading."""
    try:
        text = codes.parse_as(load, "L").text
    except CodeError as error:
        raise fail(str(error)) from error
    with reading(ctx, text) as reader:
        state = reader.state
        record = state.load(text)
        if record is None or record.started_at is None:
            raise fail(f"load {load} was not started in this ledger: start it at loading first")
        machine = state.machine(record.machine)
        there = [pack for code in record.packs if (pack := state.pack(code))]
        made = [load_slip(record, machine, pack, state.practice.zone) for pack in there]
    output.write([slip for slip in made for _ in range(output.copies)])
