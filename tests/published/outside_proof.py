"""A program from outside: it checks proofs by docs/proof.md alone, and knows nothing of Foldmark's code.

`python tests/published/outside_proof.py FILE` says what the proof shows, or what is wrong with it, and exits 1.
Recomputed roots (RFC 6962 section 2.1.1, by recursion from the root downwards) instead of the walk that Foldmark takes.
"""

import hashlib
import json
import sys
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

FACT = {
    "seq", "id", "kind", "at", "noted_at", "site", "station", "by", "set", "pack", "load", "patient", "data", "prev", "hash",
}  # fmt: skip


class Wrong(Exception):  # noqa: N818  (short, in a program of its own)
    pass


def need(holds, why):
    if not holds:
        raise Wrong(why)


def canon(value):
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def sha(*parts):
    return hashlib.sha256(b"".join(parts)).digest()


def signature_holds(key, signature, body):
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature), canon(body))
    except InvalidSignature:
        return False
    return True


def half_of(size):
    half = 1
    while half * 2 < size:
        half *= 2
    return half


def climb(leaf, index, size, path):
    """The root that a path gives: RFC 6962 section 2.1.1, read backwards."""
    if size == 1:
        need(not path, "a path is too long")
        return leaf
    need(path, "a path is too short")
    half, top = half_of(size), bytes.fromhex(path[-1])
    if index < half:
        return sha(b"\x01", climb(leaf, index, half, path[:-1]), top)
    return sha(b"\x01", top, climb(leaf, index - half, size - half, path[:-1]))


def both(old, size, path, old_root, whole):
    """The roots of the earlier and the later tree that a consistency path gives: RFC 6962 section 2.1.2."""
    if old == size:
        if whole:
            need(not path, "the path is too long")
            return old_root, old_root
        need(len(path) == 1, "the path has the wrong length")
        return bytes.fromhex(path[0]), bytes.fromhex(path[0])
    need(path, "the path is too short")
    half, top = half_of(size), bytes.fromhex(path[-1])
    if old <= half:
        before, after = both(old, half, path[:-1], old_root, whole)
        return before, sha(b"\x01", after, top)
    before, after = both(old - half, size - half, path[:-1], old_root, False)
    return sha(b"\x01", top, before), sha(b"\x01", top, after)


def facts_of(rows, site):
    last = 0
    for fact in rows:
        need(set(fact) == FACT, "not a fact")
        need(
            sha(canon({k: v for k, v in fact.items() if k != "hash"})).hex() == fact["hash"],
            f"fact {fact['seq']} changed",
        )
        need(fact["site"] == site and fact["seq"] > last, f"fact {fact['seq']} foreign or out of order")
        last = fact["seq"]
    return rows


def checkpoint_of(found, site, keys):
    need(set(found) == {"at", "key", "root", "signature", "site", "size"} and found["site"] == site, "checkpoint")
    in_force = [fact["data"]["key"] for fact in keys if fact["seq"] <= found["size"]]
    need(in_force and in_force[-1] == found["key"], "unknown key")
    body = {name: found[name] for name in ("at", "root", "site", "size")}
    need(signature_holds(found["key"], found["signature"], body), "forged checkpoint")


def check(file):
    """What a proof shows. Raises Wrong, or whatever malformed JSON makes Python raise."""
    proof = json.loads(file)
    need(canon(proof) + b"\n" == file, "not the one form")
    keys = facts_of(proof["keys"], proof["site"])
    need(all(fact["kind"] == "key_named" for fact in keys), "keys")
    if proof["format"] == "foldmark-consistency-proof-1":
        need(set(proof) == {"format", "site", "from", "to", "keys", "path"}, "keys of the proof")
        old, new = proof["from"], proof["to"]
        for one in (old, new):
            checkpoint_of(one, proof["site"], keys)
        need(0 < old["size"] <= new["size"], "sizes")
        roots = both(old["size"], new["size"], proof["path"], bytes.fromhex(old["root"]), True)
        need((roots[0].hex(), roots[1].hex()) == (old["root"], new["root"]), "not consistent")
        return f"{old['size']} to {new['size']}"
    need(proof["format"] == "foldmark-custody-proof-1", "format")
    need(
        set(proof)
        == {"format", "site", "pack", "count", "facts", "gaps", "keys", "inclusion", "checkpoint", "signature"},
        "keys of the proof",
    )
    facts, signed = facts_of(proof["facts"], proof["site"]), proof["checkpoint"]
    need(len(facts) == proof["count"], "count")
    turns = [proof["pack"]]
    for turn in turns:
        turns += [
            f["data"]["from"] for f in facts if f["kind"] == "received" and f["pack"] == turn and f["data"].get("from")
        ]
    loads = {f["load"] for f in facts if f["pack"] in turns}
    need(all(f["pack"] in turns if f["pack"] else f["load"] and f["load"] in loads for f in facts), "foreign fact")
    shown = {str(f["seq"]): f for f in [*facts, *keys]}
    need(set(shown) == set(proof["inclusion"]), "paths")
    for seq, path in proof["inclusion"].items():
        need(int(seq) <= signed["size"], "size")
        leaf = sha(b"\x00", bytes.fromhex(shown[seq]["hash"]))
        need(climb(leaf, int(seq) - 1, signed["size"], path).hex() == signed["root"], f"fact {seq} is not in the tree")
    checkpoint_of(signed, proof["site"], keys)
    need(
        signature_holds(signed["key"], proof["signature"], {k: v for k, v in proof.items() if k != "signature"}),
        "signature",
    )
    return f"{proof['pack']}: {len(facts)} facts"


if __name__ == "__main__":
    try:
        print(check(Path(sys.argv[1]).read_bytes()))
    except (Wrong, ValueError, KeyError, TypeError, AttributeError) as error:
        print(f"does not hold: {type(error).__name__}: {error}")
        sys.exit(1)
