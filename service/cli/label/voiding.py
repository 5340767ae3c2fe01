"""`foldmark label void`: a code that must not count any more."""

import json

import click

from label_templates.codes import LETTERS
from service.cli.label.issuing import ask, named, office


@click.command(epilog='\b\nExamples:\n  foldmark label void A-K7-000024-P --why "card lost"\n'
               '  foldmark label void L-K7-1-0007-7 --why "printed askew" --json')  # fmt: skip
@click.argument("code")
@click.option("--why", required=True, help="The reason: whoever scans the code from now on reads it.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.pass_context
def void(ctx: click.Context, code: str, why: str, *, as_json: bool) -> None:
    """Void CODE for good: wherever it is scanned from now on, it stops with the reason.

    What is in use is not voided: its label is printed again, as a copy.
    """
    (text,) = named([code], *LETTERS)
    with office(ctx, text) as desk:
        ask(desk, "void code", code=text, why=why)
    told = f"{text} is void: whoever scans it is stopped, and reads why."
    click.echo(json.dumps({"voided": text, "why": why}, ensure_ascii=False) if as_json else told)
