"""`foldmark label`: codes and labels. A module a concern; each is imported when it is used."""

import click

from service.cli.lazy import Lazy

COMMANDS = {
    "sets": "service.cli.label.sets:sets",
    "packs": "service.cli.label.packs:packs",
    "slips": "service.cli.label.packs:slips",
    "loads": "service.cli.label.numbered:loads",
    "badges": "service.cli.label.numbered:badges",
    "shelves": "service.cli.label.numbered:shelves",
    "patients": "service.cli.label.numbered:patients",
    "instruments": "service.cli.label.numbered:instruments",
    "cards": "service.cli.label.cards:cards",
    "outage": "service.cli.label.outage:outage",
    "grade": "service.cli.label.grade:grade_label",
    "supply": "service.cli.label.supply:supply",
    "stocks": "service.cli.label.showing:stocks_command",
    "design": "service.cli.label.showing:design_command",
    "gallery": "service.cli.label.showing:gallery_command",
    "calibrate": "service.cli.label.showing:calibrate_command",
    "printers": "service.cli.label.printers:printers",
    "queue": "service.cli.label.printers:print_queue",
    "void": "service.cli.label.voiding:void",
}


@click.group(cls=Lazy, places=COMMANDS, epilog="\b\nExamples:\n  foldmark label cards -o cards.pdf\n"
             "  foldmark label loads --machine L-K7-1 --count 8 -o loads.pdf\n"
             "  foldmark label sets --csv sets.csv -o tags.pdf\n"
             "  foldmark label packs P-K7-0042-0017-R -o pack.png\n"
             '  foldmark label void A-K7-000024-P --why "card lost"')  # fmt: skip
def label() -> None:
    """Labels into a PDF, or one of them into a PNG. Every symbol is read back before the file is written.

    New codes come from the ledger, which never gives one twice; codes that are named are printed again, as copies.
    Use steam-proof label stock: direct-thermal paper turns black in an autoclave.
    """
