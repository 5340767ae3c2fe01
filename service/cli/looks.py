"""Commands that ask the ledger: custody, recall, board."""

import json
import sys
from pathlib import Path
from typing import Any

import click

from label_templates import codes
from service.cli.files import written
from service.cli.open import fail, reading
from service.custody.chain import CIRCLE, expired
from service.custody.chain import custody as custody_of
from service.custody.facts import stamp
from service.custody.recall import REACHES, ReachError, report
from service.stations.writer import utc_now

CAUTION = "Foldmark advises; the practice's own procedures, local codes and the licensed practitioner decide."


def _code(text: str, *letters: str) -> str:
    try:
        return codes.parse_as(text, *letters).text
    except codes.CodeError as error:
        raise fail(str(error)) from error


@click.command(epilog="\b\nExamples:\n  foldmark custody P-K7-0042-0017-R\n  foldmark custody P-K7-0042-0017-R --json")
@click.argument("pack")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.pass_context
def custody(ctx: click.Context, pack: str, *, as_json: bool) -> None:
    """What the record holds of PACK, from wash to patient, and where it has a gap. Exit status 1 when it has."""
    code = _code(pack, "P")
    with reading(ctx, code) as reader:
        record = reader.state.pack(code)
        if record is None:
            raise fail(f"no pack was ever begun under {code} here: check the code")
        found = custody_of(reader.state, record)
        owner = reader.state.set(record.set)
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False))
    else:
        flags = f" — {', '.join(found['flags'])}" if found["flags"] else ""
        click.echo(f"{owner.name if owner else record.set}, turn {record.turn}  {code}\n{found['state']}{flags}\n")
        for fact in found["facts"]:
            about = ", ".join(f"{key} {value}" for key, value in fact["data"].items() if isinstance(value, str | int))
            what = fact["kind"].replace("_", " ")
            click.echo(
                f"{fact['seq']:>6}  {fact['at'][:16].replace('T', ' ')}  {fact['station']:<12} {what:<18} {about}"[:160]
            )
        for gap in found["gaps"]:
            click.echo(f"GAP: {gap['why']} (before {gap['before'].replace('_', ' ')})")
        click.echo("No gap in the record." if not found["gaps"] else "")
    sys.exit(1 if found["gaps"] else 0)


@click.command(epilog="\b\nExamples:\n  foldmark recall L-K7-1-0331-K\n  foldmark recall L-K7-1-0331-K --reach since\n"
               "  foldmark recall W-K7-1-0120-1 --pdf recall.pdf")  # fmt: skip
@click.argument("load")
@click.option(
    "--reach", type=click.Choice(list(REACHES)), default="load", show_default=True, help="How far it reaches."
)
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.option("--pdf", type=click.Path(dir_okay=False), help="Write the list to this PDF, to walk with.")
@click.pass_context
def recall(ctx: click.Context, load: str, reach: str, pdf: str | None, *, as_json: bool) -> None:
    """Which packs, and which patients, LOAD touches. A turned strip never takes a pack off the list."""
    code = _code(load, "L", "W")
    with reading(ctx, code) as reader:
        record = reader.state.load(code)
        if record is None:
            raise fail(f"load {code} never began here: check the code")
        try:
            found = report(reader.state, record, reach)
        except ReachError as error:
            raise fail(str(error)) from error
        if pdf:
            _write_pdf(reader, found, Path(pdf))
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False))
        return
    _print_recall(found)


def _write_pdf(reader: Any, found: dict[str, Any], path: Path) -> None:
    from service.pages.papers.recall_list import recall_pdf  # noqa: PLC0415  (drawing a PDF is seldom asked for)

    names = {row["set"]: (reader.state.set(row["set"]) or row["set"]) for row in found["packs"]}
    patients = {code: reader.name(code) or "" for code in found["patients"]}
    titles = {code: getattr(owner, "name", code) for code, owner in names.items()}
    with written(path) as file:
        file.write(recall_pdf(found, set_names=titles, patient_names=patients, zone=reader.state.practice.zone,
                              practice=reader.state.practice.name))  # fmt: skip


def _print_recall(found: dict[str, Any]) -> None:
    counts = found["counts"]
    click.echo(f"Recall of load {found['load']}, reach {found['reach']}: {found['why']}.")
    click.echo(f"{counts['packs']} packs, {counts['patients']} patients, {counts['loads']} loads\n")
    for row in found["packs"]:
        flags = f" ({', '.join(row['flags'])})" if row["flags"] else ""
        patients = f"  patient {', '.join(row['patients'])}" if row["patients"] else ""
        shelf = f"  {row['shelf']}" if row["shelf"] else ""
        click.echo(f"  {row['pack']}  {row['state']}{flags}{shelf}{patients}")
    click.echo(f"\n{CAUTION}")


@click.command(epilog="\b\nExamples:\n  foldmark board\n  foldmark board --json")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.pass_context
def board(ctx: click.Context, *, as_json: bool) -> None:
    """Where every set is."""
    now = stamp(utc_now())
    with reading(ctx) as reader:
        state = reader.state
        rows = []
        for owner in state.sets():
            pack = state.pack(owner.pack)
            load = state.load(pack.load) if pack else None
            rows.append(
                {
                    "set": owner.code,
                    "name": owner.name,
                    "pack": owner.pack,
                    "state": state.where(pack) if pack else "new",
                    "flags": state.flags(pack) if pack else [],
                    "expired": bool(pack and expired(pack, load, now, state.practice.zone) and not pack.opened_at),
                    "shelf": pack.shelf if pack else None,
                }
            )
    if as_json:
        click.echo(json.dumps({"sets": rows}, ensure_ascii=False))
        return
    for place in ("new", *CIRCLE):
        here = [row for row in rows if row["state"] == place]
        if here:
            click.echo(f"{place} {len(here)}")
        for row in here:
            notes = [*row["flags"], *(["expired"] if row["expired"] else []), *([row["shelf"]] if row["shelf"] else [])]
            click.echo(f"  {row['set']}  {row['name']}{'  ' if notes else ''}{', '.join(notes)}")
    click.echo(f"\n{CAUTION}")
