"""Labels that bear a number of their own: load cards, badges, shelves, patient cards."""

from collections.abc import Callable
from typing import Any

import click

from label_templates import codes
from label_templates.labels import BadgeLabel, Label, LoadCard, PatientCard, ShelfLabel
from service.cli.label.drawing import outputs, write


def _range(first: int, count: int) -> range:
    return range(first, first + count)


@click.command()
@click.option("--machine", required=True, help="Such as L-K7-1 (steam) or W-K7-1 (wash).")
@click.option("--machine-name", default="", help="What people call it.")
@click.option("--from", "first", default=1, type=click.IntRange(0, 9999), help="The first number.")
@click.option("--count", default=24, type=click.IntRange(1, 1000), help="How many.")
@outputs
def loads(machine: str, machine_name: str, first: int, count: int, **output: Any) -> None:
    """Load cards, laid with the machine until they are used."""
    write(
        lambda: [LoadCard(codes.load_code(machine, n).text, machine_name or machine) for n in _range(first, count)],
        **output,
    )


def _numbered(name: str, words: str, make: Callable[[str, int], Label]) -> click.Command:
    @click.command(name, help=words)
    @click.option("--site", required=True, help="The site's two characters.")
    @click.option("--from", "first", default=1, type=click.IntRange(0), help="The first number.")
    @click.option("--count", default=24, type=click.IntRange(1, 1000), help="How many.")
    @outputs
    def numbered(site: str, first: int, count: int, **output: Any) -> None:
        write(lambda: [make(site, number) for number in _range(first, count)], **output)

    return numbered


badges = _numbered("badges", "Badges.", lambda site, n: BadgeLabel(codes.badge_code(site, n).text, ""))
shelves = _numbered("shelves", "Shelf labels.", lambda site, n: ShelfLabel(codes.shelf_code(site, n).text, ""))
patients = _numbered(
    "patients", "A roll of provisional patient codes.", lambda site, n: PatientCard(codes.patient_code(site, n).text)
)
