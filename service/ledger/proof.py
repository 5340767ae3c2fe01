"""Custody proofs and consistency proofs: files that anyone checks without the ledger. Their form is `docs/proof.md`.

A proof says that its facts stand in the record and that the record was not edited. Whether what was scanned was true,
it cannot tell.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from label_templates import codes
from service.custody.chain import custody_facts, gaps
from service.custody.facts import Data, Fact
from service.custody.records import Pack
from service.ledger import checkpoint as checkpoints
from service.ledger.checkpoint import Checkpoint, CheckpointError, Keys
from service.ledger.keys import SigningKey, signed_by
from service.ledger.seal import canonical, fact_hash
from service.ledger.store import LedgerError, Reader
from service.ledger.tree import Tree, consistent, included

CUSTODY = "foldmark-custody-proof-1"
CONSISTENCY = "foldmark-consistency-proof-1"
_LARGEST = 16 << 20
"""Bytes: a pack with a thousand facts makes about 2 MB."""


class ProofFault(LedgerError):  # noqa: N818  (what is wrong with the proof, and said so)
    """A proof that does not hold: one line that names what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Proven:
    """What a proof that holds shows."""

    format: str
    site: str
    about: str
    facts: tuple[Fact, ...]
    gaps: tuple[dict[str, str], ...]
    checkpoint: Checkpoint
    earlier: Checkpoint | None = None


def custody_proof(reader: Reader, pack: Pack, key: SigningKey, at: str) -> Data:
    """The proof of one pack, as a JSON object. Raises LedgerError when `key` is not the site's."""
    named = reader.keys()
    is_the_sites(key, reader)
    facts = custody_facts(reader.state, pack)
    tree = Tree(reader.hashes())
    shown = sorted({fact.seq for fact in [*facts, *named]})
    body: Data = {
        "format": CUSTODY,
        "site": reader.site,
        "pack": pack.code,
        "count": len(facts),
        "facts": [fact.as_dict() for fact in facts],
        "gaps": gaps(facts),
        "keys": [fact.as_dict() for fact in named],
        "inclusion": {str(seq): [step.hex() for step in tree.inclusion(seq - 1)] for seq in shown},
        "checkpoint": checkpoints.sign(key, site=reader.site, size=tree.size, root=tree.root(), at=at).as_dict(),
    }
    return body | {"signature": key.sign(body)}


def consistency_proof(reader: Reader, since: Checkpoint, now: Checkpoint) -> Data:
    """The proof that the record up to `now` begins with that up to `since`. Raises ProofFault when it does not."""
    if since.size > now.size:
        raise ProofFault(
            f"the record has {now.size} facts, and {since.size} when that checkpoint was signed: facts were removed"
        )
    named = reader.keys()
    tree = Tree(reader.hashes(0, now.size))
    if tree.root(since.size).hex() != since.root:
        raise ProofFault(
            f"the record does not follow from that checkpoint: a fact up to {since.size} was changed since {since.at}"
        )
    return {
        "format": CONSISTENCY,
        "site": reader.site,
        "from": since.as_dict(),
        "to": now.as_dict(),
        "keys": [fact.as_dict() for fact in named],
        "path": [step.hex() for step in tree.consistency(since.size, now.size)],
    }


def is_the_sites(key: SigningKey, reader: Reader) -> None:
    """Raise LedgerError unless `key` is the one the site signs with now."""
    named = reader.keys()
    last = named[-1].data["key"] if named else None
    if last != key.public:
        raise LedgerError(
            f"this key ({key.public[:16]}…) is not the one site {reader.site} signs with "
            f"({f'{last[:16]}…' if last else 'none yet'}): name its file with --key, or run  foldmark key --new"
        )


def written(proof: Data) -> bytes:
    """The file of a proof: RFC 8785 canonical JSON and one line end, so that it has one form only."""
    return canonical(proof).encode() + b"\n"


def check(file: bytes, key: str | None = None) -> Proven:
    """What a proof shows. `key` is the public key, or its first digits, that the reader trusts.

    Raises ProofFault naming the first thing that does not hold.
    """
    proof = _parsed(file)
    checks: dict[str, Callable[[Data, str | None], Proven]] = {CUSTODY: _custody, CONSISTENCY: _consistency}
    kind = proof.get("format")
    if not isinstance(kind, str) or kind not in checks:
        raise ProofFault(f"this is not a proof of a format known here: {', '.join(checks)}")
    return checks[kind](proof, key)


def _parsed(file: bytes) -> Data:
    if len(file) > _LARGEST:
        raise ProofFault("this file is too large for a proof")
    try:
        proof = json.loads(file)
        if not isinstance(proof, dict):
            raise ProofFault("this is not a proof: a JSON object is needed")
        same = written(proof) == file
    except (ValueError, TypeError, RecursionError) as error:
        raise ProofFault(f"this is not a proof: it cannot be read as JSON ({str(error)[:80]})") from error
    if not same:
        raise ProofFault("the file was changed: it is not in the one form that a proof is written in")
    return proof


def _keys_of(proof: Data, *wanted: str) -> None:
    if set(proof) != {"format", "site", *wanted}:
        strange = sorted(set(proof) ^ {"format", "site", *wanted})
        raise ProofFault(f"the proof is malformed: check {', '.join(strange)}")


def _custody(proof: Data, key: str | None) -> Proven:
    _keys_of(proof, "pack", "count", "facts", "gaps", "keys", "inclusion", "checkpoint", "signature")
    site, pack = proof["site"], proof["pack"]
    signed = _checkpoint(proof["checkpoint"], site)
    facts = _facts(proof["facts"], site, "facts")
    named = _facts(proof["keys"], site, "keys")
    if proof["count"] != len(facts):
        raise ProofFault(f"a fact is missing or foreign: the proof speaks of {proof['count']} and holds {len(facts)}")
    _only_about(facts, pack)
    _in_the_tree([*facts, *named], proof["inclusion"], signed)
    _signed_by_the_site(signed, named, key)
    if not signed_by(signed.key, str(proof["signature"]), _unsigned(proof)):
        raise ProofFault("the proof was changed after it was signed: a fact may be missing, or its text altered")
    if gaps(facts) != proof["gaps"]:
        raise ProofFault("the gaps told are not those of the facts")
    return Proven(CUSTODY, site, pack, tuple(facts), tuple(proof["gaps"]), signed)


def _unsigned(proof: Data) -> Data:
    return {name: value for name, value in proof.items() if name != "signature"}


def _consistency(proof: Data, key: str | None) -> Proven:
    _keys_of(proof, "from", "to", "keys", "path")
    site = proof["site"]
    since, now = _checkpoint(proof["from"], site), _checkpoint(proof["to"], site)
    named = _facts(proof["keys"], site, "keys")
    for one in (since, now):
        _signed_by_the_site(one, named, key)
    if not consistent(since.size, _bytes(since.root), now.size, _bytes(now.root), _path(proof["path"])):
        raise ProofFault("the later record does not begin with the earlier one")
    return Proven(CONSISTENCY, site, f"{since.size} to {now.size}", (), (), now, since)


def _checkpoint(row: Any, site: Any) -> Checkpoint:
    try:
        found = checkpoints.read_dict(row)
    except CheckpointError as error:
        raise ProofFault(str(error)) from error
    if found.site != site:
        raise ProofFault(f"the checkpoint is of site {found.site}, and the proof of site {site}")
    return found


def _facts(rows: Any, site: str, where: str) -> list[Fact]:
    if not isinstance(rows, list):
        raise ProofFault(f"the proof is malformed: check {where}")
    facts: list[Fact] = []
    for number, row in enumerate(rows, 1):
        try:
            fact = Fact.from_dict(row)
            same = fact_hash(fact) == fact.hash
            last = facts[-1].seq if facts else 0
            ordered = type(fact.seq) is int and fact.seq > last
        except (ValueError, TypeError, AttributeError) as error:
            raise ProofFault(f"number {number} of {where} is not a fact ({str(error)[:80]})") from error
        if not same:
            raise ProofFault(f"fact {fact.seq} was changed: its hash does not hold")
        if fact.site != site:
            raise ProofFault(f"fact {fact.seq} is foreign: it is of site {fact.site}")
        if not ordered:
            raise ProofFault(f"fact {fact.seq} is out of order: it stands after fact {last}")
        facts.append(fact)
    return facts


def _only_about(facts: list[Fact], pack: Any) -> None:
    """Every fact speaks of the pack, of the turn it came from, or of a load one of them was in."""
    if not codes.is_code(str(pack)):
        raise ProofFault("the proof names no pack")
    came_from = {fact.pack: fact.data.get("from") for fact in facts if fact.kind == "received"}
    turns, turn = {pack}, pack
    while (turn := came_from.get(turn)) and turn not in turns:
        turns.add(turn)
    loads = {fact.load for fact in facts if fact.load and fact.pack in turns}
    for fact in facts:
        if fact.pack not in turns if fact.pack else fact.load not in loads:
            raise ProofFault(f"fact {fact.seq} is foreign: it speaks of another pack or load")
    if not any(fact.pack == pack for fact in facts):
        raise ProofFault(f"no fact speaks of pack {pack}")


def _in_the_tree(facts: list[Fact], paths: Any, signed: Checkpoint) -> None:
    if not isinstance(paths, dict) or set(paths) != {str(fact.seq) for fact in facts}:
        raise ProofFault("the proof needs one inclusion path for each fact, and no other")
    root = _bytes(signed.root)
    for fact in facts:
        if not included(_bytes(fact.hash), fact.seq - 1, signed.size, _path(paths[str(fact.seq)]), root):
            raise ProofFault(f"fact {fact.seq} is not in the tree that the checkpoint signs")


def _signed_by_the_site(signed: Checkpoint, named: list[Fact], key: str | None) -> None:
    """By the key in force at its size, named in the record and, where given, by the key that the reader trusts."""
    if any(fact.kind != "key_named" for fact in named):
        raise ProofFault("among the keys is a fact that names none")
    in_force = Keys(named).at(signed.size)
    if in_force != signed.key:
        raise ProofFault(
            f"the checkpoint is signed by an unknown key ({signed.key[:16]}…): the record does not name it"
        )
    if not signed.signed(signed.key):
        raise ProofFault("the checkpoint is forged: its signature does not hold")
    if key is not None and not signed.key.startswith(key.lower()):
        raise ProofFault(
            f"the checkpoint is signed by {signed.key[:16]}…, which is not the key you trust ({key[:16]}…)"
        )


def _path(rows: Any) -> list[bytes]:
    if not isinstance(rows, list):
        raise ProofFault("the proof is malformed: a path is a list of hashes")
    return [_bytes(row) for row in rows]


def _bytes(text: Any) -> bytes:
    try:
        found = bytes.fromhex(text)
    except (ValueError, TypeError) as error:
        raise ProofFault("the proof is malformed: a hash is 64 hex digits") from error
    if len(found) != 32:
        raise ProofFault("the proof is malformed: a hash is 64 hex digits")
    return found
