"""Commands that sign: checkpoint, proof, key."""

import json
from importlib import resources
from pathlib import Path

import click

from label_templates import codes, raster, sheet, stocks
from label_templates.labels import CheckpointSlip
from label_templates.layout import LayoutError
from label_templates.proof import ProofError
from service.cli.files import written
from service.cli.ledger import say
from service.cli.open import fail, key_path, open_ledger, reading, settings_of
from service.custody.facts import stamp
from service.ledger.checkpoint import Checkpoint, vouched_for
from service.ledger.keys import SigningKey, load_key, make_key
from service.ledger.proof import custody_proof, is_the_sites
from service.ledger.proof import written as proof_file
from service.stations.desk import Desk
from service.stations.sealing import Sealer
from service.stations.writer import utc_now

_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
_KEY = click.option("--key", type=click.Path(dir_okay=False, path_type=Path), help="The signing key's file.")


@click.command(
    epilog="\b\nExamples:\n  foldmark checkpoint\n  foldmark checkpoint -o today.pdf     for the paper log book"
)
@click.option("-o", "--out", type=click.Path(dir_okay=False, path_type=Path), help="Also as a QR slip: a .pdf or .png.")
@_KEY
@_JSON
@click.pass_context
def checkpoint(ctx: click.Context, out: Path | None, key: Path | None, *, as_json: bool) -> None:
    """Sign the record as it stands, keep that in the ledger, and print its one line for the paper log book.

    The service signs by itself too, every hour that something was scanned.
    """
    settings = settings_of(ctx)
    ledger, practice = open_ledger(settings)
    desk = Desk(ledger, practice).start()
    try:
        signing = load_key(key or key_path(settings, practice.site))
        signed = Sealer(desk, signing).sign_now()
    finally:
        desk.close()
    if signed is None:
        raise fail("there is no fact to sign yet", status=1)
    if out:
        _slip(signed, out, practice.name)
    if as_json:
        click.echo(json.dumps(signed.as_dict() | {"line": signed.line()}))
    else:
        click.echo(signed.line())
        click.echo(
            f"{signed.size} facts of site {signed.site}. Keep it on paper: {out or 'print it with -o FILE.pdf'}.",
            err=True,
        )


def _slip(signed: Checkpoint, out: Path, practice: str) -> None:
    label = CheckpointSlip(signed.line(), practice, signed.site, signed.size, signed.at, signed.key)
    stock = stocks.stock("roll-62x40")
    try:
        if out.suffix.lower() == ".png":
            raster.write_png(label, stock, out)
        elif out.suffix.lower() == ".pdf":
            sheet.write_pdf([label], stock, out)
        else:
            raise fail(f"{out} is neither .pdf nor .png: the ending says which to write")
    except (LayoutError, ProofError) as error:
        raise fail(str(error)) from error
    except OSError as error:
        raise fail(f"{out} cannot be written ({error.strerror}): check the folder and the space on the disk") from error


@click.command(epilog="\b\nExamples:\n  foldmark proof P-K7-0042-0017-R -o pack.proof\n"
               "  foldmark verify pack.proof\n  foldmark proof P-K7-0042-0017-R -o pack.proof "
               "--page check.html")  # fmt: skip
@click.argument("pack")
@click.option("-o", "--out", required=True, type=click.Path(dir_okay=False, path_type=Path), help="The proof's file.")
@click.option("--page", type=click.Path(dir_okay=False, path_type=Path),
              help="Also write the page that checks proofs in any browser, without a network.")  # fmt: skip
@_KEY
@_JSON
@click.pass_context
def proof(ctx: click.Context, pack: str, out: Path, page: Path | None, key: Path | None, *, as_json: bool) -> None:
    """Write what the record holds of PACK as a file that anyone can check without this ledger.

    It holds codes and no names. It shows that the record was not edited, not that what was scanned was true.
    """
    try:
        code = codes.parse_as(pack, "P").text
    except codes.CodeError as error:
        raise fail(str(error)) from error
    with reading(ctx, code) as reader:
        record = reader.state.pack(code)
        if record is None:
            raise fail(f"no pack was ever begun under {code} here: check the code")
        signing = load_key(key or key_path(settings_of(ctx), reader.site))
        made = custody_proof(reader, record, signing, stamp(utc_now()))
    with written(out) as file:
        file.write(proof_file(made))
    if page:
        with written(page) as file:
            file.write(resources.files("service.pages").joinpath("static/proof.html").read_bytes())
    signed = made["checkpoint"]
    if as_json:
        click.echo(json.dumps({"out": str(out), "pack": code, "facts": made["count"], "checkpoint": signed}))
    else:
        click.echo(
            f"{out}: {made['count']} facts of {code}, signed at {signed['size']} facts by key {signed['key'][:16]}."
        )


@click.command(epilog="\b\nExamples:\n  foldmark key                     which key signs here\n"
               "  foldmark key --new k7-2026.key   sign with a new one from now on")  # fmt: skip
@click.option("--new", "fresh", type=click.Path(dir_okay=False, path_type=Path), help="Make a new key in this file.")
@click.option(
    "--lost", is_flag=True, help="The old key is lost: the record will say that nobody vouched for the new one."
)
@_KEY
@_JSON
@click.pass_context
def key(ctx: click.Context, fresh: Path | None, key: Path | None, *, lost: bool, as_json: bool) -> None:
    """Which key signs this site's checkpoints; or change it, by a fact that the old key signs.

    Restart the service with the new key after a change.
    """
    settings = settings_of(ctx)
    ledger, practice = open_ledger(settings)
    desk = Desk(ledger, practice).start()
    try:
        with ledger.reading() as reader:
            named = reader.keys()
        if fresh:
            _change(desk, fresh, None if lost or not named else load_key(key or key_path(settings, practice.site)))
            with ledger.reading() as reader:
                named = reader.keys()
    finally:
        desk.close()
    rows = [{"key": fact.data["key"], "since": fact.at, "fact": fact.seq} for fact in named]
    if as_json:
        click.echo(json.dumps({"site": practice.site, "keys": rows, "file": str(fresh) if fresh else None}))
        return
    for row in rows:
        click.echo(f"{row['key'][:16]}  since {row['since'][:16].replace('T', ' ')}, fact {row['fact']}")
    click.echo("The last one signs now." if rows else "No key is named yet: run  foldmark key --new FILE")
    if fresh:
        click.echo(f"{fresh}: the new key. Keep it apart from the ledger, set FOLDMARK_KEY, restart the service.")


def _change(desk: Desk, fresh: Path, old: SigningKey | None) -> None:
    """Sign with a new key from now on; the old one, where it is there, signs the new."""
    if old:
        with desk.ledger.reading() as reader:
            is_the_sites(old, reader)
    made = make_key(fresh)
    vouched = old.sign(vouched_for(desk.practice.site, made.public)) if old else None
    say(desk, "name key", key=made.public, vouched=vouched)
