"""`foldmark verify`: was the record edited? Asked of a ledger, of a proof, or since a checkpoint."""

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import NoReturn

import click

from service.cli.files import written
from service.cli.open import fail, key_path, open_ledger, settings_of
from service.custody.facts import stamp
from service.ledger.checkpoint import Checkpoint, Keys, kept, read_line, sign
from service.ledger.keys import load_key
from service.ledger.opening import open_at
from service.ledger.proof import ProofFault, Proven, check, consistency_proof, is_the_sites
from service.ledger.proof import written as proof_file
from service.ledger.store import LedgerError, Reader
from service.ledger.tree import Frontier
from service.ledger.verify import Verdict
from service.ledger.verify import verify as verify_ledger
from service.stations.writer import utc_now

TRUTH = "The record has not been edited. Whether what was scanned was true, this cannot tell."


@click.command(epilog="\b\nExamples:\n  foldmark verify\n  foldmark --ledger /srv/k7.db verify --json\n"
               "  foldmark verify pack.proof --key 5f0a83c1d2e4b697      a proof, without any ledger\n"
               '  foldmark verify --since "CHECKPOINT K7 1038 …" -o since.proof')  # fmt: skip
@click.argument("proof", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--since", metavar="CHECKPOINT", help="A checkpoint's printed line, or the number of one kept here: show "
              "that the record only grew since.")  # fmt: skip
@click.option("--key", help="The public key you trust, or its first digits from the paper log book.")
@click.option(
    "-o", "--out", type=click.Path(dir_okay=False, path_type=Path), help="With --since: write the proof here."
)
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.pass_context
def verify(
    ctx: click.Context, proof: Path | None, since: str | None, key: str | None, out: Path | None, *, as_json: bool
) -> None:
    """Check that nobody edited the record: the chain of every site, the tables read from it, the signed checkpoints.

    With PROOF, check that file alone. It cannot tell whether what was scanned was true.
    """
    if proof and since:
        raise fail("a proof is checked by itself: leave out --since")
    if proof:
        _verify_file(proof, key, as_json=as_json)
    elif since:
        _verify_since(ctx, since, out, as_json=as_json)
    else:
        _verify_ledger(ctx, as_json=as_json)


def _no(fault: str, *, as_json: bool) -> NoReturn:
    """The honest answer is no."""
    if as_json:
        click.echo(json.dumps({"ok": False, "fault": fault}, ensure_ascii=False))
    else:
        click.echo(f"NOT VERIFIED: {fault}.", err=True)
    sys.exit(1)


def _verify_ledger(ctx: click.Context, *, as_json: bool) -> None:
    settings = settings_of(ctx)
    ledger = open_at(settings.ledger, settings.practice)
    try:
        with ledger.reading() as reader:
            found = verify_ledger(reader)
    finally:
        ledger.close()
    if as_json:
        told = {"ok": found.fault is None, "facts": found.facts, "heads": found.heads, "fault": found.fault,
                "checkpoints": found.checkpoints, "covered": found.covered, "warnings": found.warnings}  # fmt: skip
        click.echo(json.dumps(told, ensure_ascii=False))
    elif found.fault:
        click.echo(f"NOT VERIFIED: {found.fault}. The {found.facts} facts before it hold.", err=True)
    else:
        _holds(found)
    sys.exit(0 if found.fault is None else 1)


def _holds(found: Verdict) -> None:
    heads = ", ".join(f"{site} {head[:12]}…" for site, head in found.heads.items())
    click.echo(f"{found.facts} facts in an unbroken chain ({heads}); the tables equal their replay.")
    if found.checkpoints:
        covered = ", ".join(f"{site} {size}" for site, size in found.covered.items())
        click.echo(f"Signed checkpoints: {found.checkpoints}, all hold; covered up to fact: {covered}.")
    else:
        click.echo("No checkpoint is signed yet: run  foldmark checkpoint  and keep it on paper.")
    for warning in found.warnings:
        click.echo(f"Ask about this: {warning}.")
    click.echo(TRUTH)


def _verify_file(path: Path, key: str | None, *, as_json: bool) -> None:
    try:
        shown = check(path.read_bytes(), key)
    except ProofFault as fault:
        _no(f"{path}: {fault}", as_json=as_json)
    except OSError as error:
        raise fail(f"{path} cannot be read ({error.strerror}): check the path") from error
    if as_json:
        told = {
            "ok": True,
            "format": shown.format,
            "site": shown.site,
            "about": shown.about,
            "gaps": shown.gaps,
            "facts": [fact.as_dict() for fact in shown.facts],
            "checkpoint": shown.checkpoint.as_dict(),
        }
        click.echo(json.dumps(told, ensure_ascii=False))
    else:
        _shows(shown)


def _shows(shown: Proven) -> None:
    signed = shown.checkpoint
    if shown.earlier:
        click.echo(f"The record of site {shown.site} at {signed.size} facts begins with that at {shown.earlier.size}.")
    else:
        click.echo(f"{shown.about}: {len(shown.facts)} facts, all in the record of site {shown.site}.")
        for fact in shown.facts:
            at, what = fact.at[:16].replace("T", " "), fact.kind.replace("_", " ")
            click.echo(f"{fact.seq:>6}  {at}  {fact.station:<12} {what}")
        for gap in shown.gaps:
            click.echo(f"GAP: {gap['why']}")
        click.echo("No gap in the record." if not shown.gaps else "")
    click.echo(f"Signed {signed.at} by key {signed.key[:16]}: compare that with the paper log book.")
    click.echo(TRUTH)


def _verify_since(ctx: click.Context, since: str, out: Path | None, *, as_json: bool) -> None:
    settings = settings_of(ctx)
    ledger, practice = open_ledger(settings)
    try:
        with ledger.reading() as reader:
            earlier = _known(reader, since)
            now = _latest(reader, key_path(settings, practice.site), stamp(utc_now()))
            proof = consistency_proof(reader, earlier, now)
    except ProofFault as fault:
        _no(str(fault), as_json=as_json)
    finally:
        ledger.close()
    if out:
        with written(out) as file:
            file.write(proof_file(proof))
    if as_json:
        click.echo(json.dumps({"ok": True} | proof))
    else:
        click.echo(f"The record at {now.size} facts begins with that at {earlier.size}, signed {earlier.at}.")
        click.echo(f"Nothing before it was edited{f'; the proof is in {out}' if out else ''}.")


def _known(reader: Reader, text: str) -> Checkpoint:
    """The checkpoint that was named, with its whole key. Raises LedgerError unless the site's own key signed it."""
    if text.isdecimal():
        found = next((one for one in kept(reader) if one.size == int(text)), None)
        if found is None:
            raise LedgerError(f"no checkpoint of {text} facts is kept here: give its printed line")
    else:
        found = read_line(text)
    if found.site != reader.site:
        raise LedgerError(f"that checkpoint is of site {found.site}, and this is site {reader.site}: use --site")
    key = Keys(reader.keys()).at(found.size)
    if key is None or not found.signed(key):
        raise LedgerError(
            f"that checkpoint is not signed by the key of site {found.site} in this record: check every character of "
            "the line, and the key on paper"
        )
    return replace(found, key=key)


def _latest(reader: Reader, key: Path, at: str) -> Checkpoint:
    """A checkpoint of the record as it stands, where the key is at hand; the newest kept otherwise."""
    if key.exists():
        signing = load_key(key)
        is_the_sites(signing, reader)
        tree = Frontier()
        for leaf in reader.hashes():
            tree.add(leaf)
        return sign(signing, site=reader.site, size=tree.size, root=tree.root(), at=at)
    found = kept(reader)
    if not found:
        raise LedgerError(f"no checkpoint is kept here, and the signing key {key} is not: name it with FOLDMARK_KEY")
    return found[-1]
