"""A form for a day without the service, with load cards and patient codes of its own."""

from dataclasses import replace

import click

from label_templates.labels import OutageForm
from label_templates.samples import FORM_WORDS
from service.cli.label.drawing import Output, outputs
from service.cli.label.issuing import ask, office, told_if_unprinted
from service.cli.open import fail
from service.stations.desk import Desk

PAGE = "a4-page"
_WASHES, _STEAMS, _PATIENTS = 1, 2, 4
"""How many codes of each a day's form bears."""


@click.command(epilog="\b\nExamples:\n  foldmark label outage -o outage.pdf\n"
               "  foldmark label outage --stock letter-page -o outage.pdf")  # fmt: skip
@outputs
@click.pass_context
def outage(ctx: click.Context, output: Output) -> None:
    """A form to keep by the bench for a day without the service: lines to write on, and codes to scan in afterwards.

    Its load cards and patient codes are issued for it and for nothing else. Print a new one when it was used.
    """
    output = replace(output, stock_name=output.stock_name or PAGE)
    output.suits("outage", 1)
    with office(ctx) as desk:
        wash, steam = _machine(desk, "W"), _machine(desk, "L")
        issued = [
            *(("Wash load", code) for code in _issued(desk, "loads", _WASHES, machine=wash)),
            *(("Steam load", code) for code in _issued(desk, "loads", _STEAMS, machine=steam)),
            *(("Patient", code) for code in _issued(desk, "patients", _PATIENTS)),
        ]
        form = OutageForm(desk.practice.name, (*issued, *FORM_WORDS))
        with told_if_unprinted([code for _, code in issued], "foldmark label loads or patients --again"):
            output.write([form])


def _issued(desk: Desk, kind: str, count: int, **more: str) -> list[str]:
    codes: list[str] = ask(desk, "issue codes", kind=kind, count=count, **more)["codes"]
    return codes


def _machine(desk: Desk, letter: str) -> str:
    """The first machine of a kind that is in use."""
    with desk.ledger.reading() as reader:
        found = [one.code for one in reader.state.machines() if one.code[0] == letter and not one.stopped]
    if not found:
        kind = "washer" if letter == "W" else "steriliser"
        raise fail(f"no {kind} is registered and in use here: register it first, its load cards go on the form")
    return found[0]
