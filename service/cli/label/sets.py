"""Heat-proof tags for sets: of those that are registered, or of a whole table that is registered first."""

from collections.abc import Sequence
from pathlib import Path

import click

from label_templates import codes
from label_templates.labels import SetTag
from service.cli.label.drawing import WRONG, Output, mark_from, outputs
from service.cli.label.issuing import ask, named, office, reprinted, set_tag, told_if_unprinted
from service.cli.open import fail
from service.stations.desk import Desk


@click.command(epilog="\b\nExamples:\n  foldmark label sets --csv sets.csv -o tags.pdf\n"
               "  foldmark label sets S-K7-0042-* -o tag.png\n\n"
               "The table has the columns name, kind, implant, mark, code, group, line, count. A set begins with the "
               "line that has its name; lines below without one go on with its count sheet. With a code, the tag of "
               "that set is printed again.")  # fmt: skip
@click.argument("codes_", metavar="[CODE…]", nargs=-1)
@click.option("--csv", "table", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="A table of sets: all of it is registered, or none.")  # fmt: skip
@click.option("--from-ledger", is_flag=True, hidden=True, expose_value=False)
@outputs
@click.pass_context
def sets(ctx: click.Context, codes_: tuple[str, ...], table: Path | None, output: Output) -> None:
    """Tags of the sets named, of all in a table, or of every set in use whose tag was never printed."""
    told = named(codes_, "S")
    if table and told:
        raise fail("name codes or a table, not both: a code goes into the table's column code")
    with office(ctx, told[0] if told else None) as desk:
        if table:
            _from_table(desk, table, output)
        else:
            output.write(reprinted(desk, told or _untagged(desk), set_tag, output))


def _untagged(desk: Desk) -> list[str]:
    with desk.ledger.reading() as reader:
        return [one.code for one in reader.state.sets() if not one.retired and not reader.state.label(one.code)]


def _from_table(desk: Desk, path: Path, output: Output) -> None:
    from service.cli.label.table import Row, read, wrong  # noqa: PLC0415 (only a table needs the forms)

    rows = read(path)
    with desk.ledger.reading() as reader:
        known = {owner.code: owner.name for owner in reader.state.sets() if not owner.retired}
    taken = {name: code for code, name in known.items()}

    def check(row: Row) -> None:
        if row.code and known.get(row.code) != row.name:
            there = f"it is {known[row.code]} here" if row.code in known else "no set is registered under it here"
            raise wrong(path, row.line, "code", f"{row.code} is not {row.name}: {there}")
        if not row.code and row.name in taken:
            why = f"{row.name} is registered already, as {taken[row.name]}: write that into the column code"
            raise wrong(path, row.line, "name", why)
        try:
            tag = SetTag(row.code or codes.set_code(desk.practice.site, 9999).text, row.name, mark_from(row.mark))
            output.fits(tag, len(rows) * output.copies)
        except WRONG as error:
            raise wrong(path, row.line, "mark" if "pattern" in str(error) else "name", str(error)) from error

    for row in rows:
        check(row)
    new = [row.told for row in rows if not row.code]
    made = ask(desk, "register sets", sets=new)["codes"] if new else []
    fresh = iter(made)
    wanted: Sequence[str] = [row.code or next(fresh) for row in rows]
    with told_if_unprinted(wanted, "foldmark label sets"):
        output.write(reprinted(desk, wanted, set_tag, output))
