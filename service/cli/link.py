"""`foldmark link`: a way back in for somebody without a PIN, from the machine that holds the ledger."""

import json

import click

from label_templates import codes
from label_templates.codes import CodeError
from service.cli.open import fail, open_ledger, settings_of
from service.custody.rules.roles import roles_of
from service.stations.desk import Desk


@click.command(
    epilog="\b\nExamples:\n  foldmark link B-K7-002-L\n  foldmark --ledger /srv/k7.db link B-K7-002-L --json"
)
@click.argument("badge")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.pass_context
def link(ctx: click.Context, badge: str, *, as_json: bool) -> None:
    """A one-time link with which the owner of BADGE chooses a PIN, within a day. It ends a lock-out as well.

    Whoever can run this holds the ledger's own file or database: ask for the badge's owner before giving it away.
    """
    from service.access.doors import Doors  # noqa: PLC0415  (keeps `foldmark --help` quick)

    try:
        text = codes.parse_as(badge, "B").text
    except CodeError as error:
        raise fail(f"{error}: a badge looks like B-K7-002-L") from error
    ledger, practice = open_ledger(settings_of(ctx), text)
    desk = Desk(ledger, practice).start()
    try:
        with ledger.reading() as reader:
            known = roles_of(reader.state, text)
        if not known:
            raise fail(f"nobody works here under {text}: enrol the badge first", status=1)
        code = Doors(desk).pin_link(text)
    finally:
        desk.close()
    if as_json:
        click.echo(json.dumps({"badge": text, "path": f"/start#{code}", "hours": 24}))
    else:
        click.echo(f"For one use within a day, at the service's address: /start#{code}")
