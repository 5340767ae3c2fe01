"""Bench cards: scanned instead of pressing a key. They are the same everywhere, and no ledger issues them."""

from typing import Any

import click

from label_templates.labels import BENCH_CARDS
from service.cli.label.drawing import outputs, write


@click.command()
@outputs
def cards(**output: Any) -> None:
    """Every bench card: DONE, END, WET, the digits and the rest."""
    write(lambda: list(BENCH_CARDS), **output)
