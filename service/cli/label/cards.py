"""Bench cards: scanned instead of pressing a key. They are the same everywhere, and no ledger issues them."""

import click

from label_templates.labels import BENCH_CARDS
from service.cli.label.drawing import Output, outputs


@click.command()
@outputs
def cards(output: Output) -> None:
    """Every bench card: DONE, END, WET, the digits and the rest."""
    output.write([card for card in BENCH_CARDS for _ in range(output.copies)])
