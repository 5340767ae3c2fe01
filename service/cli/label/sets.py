"""Heat-proof tags for sets."""

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import click

from label_templates.labels import Label, SetTag
from service.cli.label.drawing import mark_from, outputs, write
from service.cli.open import fail, reading
from service.cli.printing import mark_of
from service.custody.records import InstrumentSet


@click.command()
@click.argument("codes_", metavar="CODE…", nargs=-1)
@click.option("--name", default="", help="The set's name, for all codes named.")
@click.option("--mark", help='Colour and pattern, such as "blue, two bars".')
@click.option("--csv", "table", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="A table with the columns code,name and, where wanted, mark.")  # fmt: skip
@click.option("--from-ledger", is_flag=True, help="Take names and marks from the ledger; without codes, all its sets.")
@outputs
@click.pass_context
def sets(
    ctx: click.Context, codes_: tuple[str, ...], name: str, mark: str | None, table: Path | None, *, from_ledger: bool,
    **output: Any,
) -> None:  # fmt: skip
    """Heat-proof tags for sets."""

    def make() -> Iterable[Label]:
        if table:
            return [SetTag(row["code"], row["name"], mark_from(row.get("mark"))) for row in _rows(table)]
        if from_ledger:
            return [SetTag(owner.code, owner.name, mark_of(owner)) for owner in _sets(ctx, codes_)]
        return [SetTag(code, name or code, mark_from(mark)) for code in codes_]

    write(make, **output)


def _rows(table: Path) -> list[dict[str, str]]:
    try:
        with table.open(newline="", encoding="utf-8-sig") as file:
            reader = csv.DictReader(file)
            missing = {"code", "name"} - set(reader.fieldnames or ())
            if missing:
                raise fail(f"{table} lacks the column {min(missing)}: the first line names code,name,mark")
            return list(reader)
    except (UnicodeDecodeError, csv.Error) as error:
        raise fail(f"{table} is not a CSV in UTF-8 ({error}): export it again") from error


def _sets(ctx: click.Context, wanted: Sequence[str]) -> list[InstrumentSet]:
    with reading(ctx) as reader:
        known = {owner.code: owner for owner in reader.state.sets()}
    for code in wanted:
        if code not in known:
            raise fail(f"no set is registered under {code} in this ledger: check the code")
    return [known[code] for code in wanted] if wanted else [owner for owner in known.values() if not owner.retired]
