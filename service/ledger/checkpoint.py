"""Signed checkpoints: at this time the site's tree had this size and this root, says the site's key.

A checkpoint copied into a paper log book cannot be rewritten with the ledger: whatever is edited before it later, and
however well the rest is made to fit, its root no longer follows.
"""

import re
from dataclasses import dataclass
from itertools import pairwise

from service.custody.facts import Data, Fact
from service.ledger.keys import SigningKey, signed_by
from service.ledger.store import LedgerError, Reader

WORD = "CHECKPOINT"
_LINE = re.compile(
    rf"{WORD} ([A-Z0-9]{{2}}) ([1-9][0-9]{{0,17}}) (\d{{4}}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{{3}}Z) "
    r"([0-9A-F]{64}) ([0-9A-F]{16}) ([0-9A-F]{128})"
)


class CheckpointError(LedgerError):
    """A checkpoint that cannot be taken: one line that says why."""


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """`size` facts and their tree's `root`, in hex; `key` is the public key, or its first 16 digits as on paper."""

    site: str
    size: int
    root: str
    at: str
    key: str
    signature: str

    @property
    def body(self) -> Data:
        """What is signed, as RFC 8785 canonical JSON."""
        return {"at": self.at, "root": self.root, "site": self.site, "size": self.size}

    def as_dict(self) -> Data:
        return self.body | {"key": self.key, "signature": self.signature}

    def line(self) -> str:
        """One line for paper and QR: capital letters, digits and signs of the alphanumeric mode only."""
        return f"{WORD} {self.site} {self.size} {self.at} {self.root} {self.key[:16]} {self.signature}".upper()

    def signed(self, key: str) -> bool:
        """Whether the public key `key`, 64 hex digits, signed it."""
        return key.startswith(self.key) and signed_by(key, self.signature, self.body)


def sign(key: SigningKey, *, site: str, size: int, root: bytes, at: str) -> Checkpoint:
    unsigned = Checkpoint(site, size, root.hex(), at, key.public, "")
    return Checkpoint(site, size, root.hex(), at, key.public, key.sign(unsigned.body))


def read_line(text: str) -> Checkpoint:
    """The checkpoint of a printed line. Raises CheckpointError."""
    found = _LINE.fullmatch(" ".join(text.split()))
    if not found:
        raise CheckpointError(
            f"this is not a checkpoint: a line that begins with {WORD}, or the number of one kept here"
        )
    site, size, at, root, key, signature = found.groups()
    return Checkpoint(site, int(size), root.lower(), at, key.lower(), signature.lower())


def read_dict(row: Data) -> Checkpoint:
    """The checkpoint of a JSON object. Raises CheckpointError unless it has exactly its six keys, each of its form."""
    form = {"site": r"[A-Z0-9]{2}", "root": r"[0-9a-f]{64}", "key": r"[0-9a-f]{64}", "signature": r"[0-9a-f]{128}",
            "at": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z"}  # fmt: skip
    if not isinstance(row, dict) or set(row) != {*form, "size"}:
        raise CheckpointError("a checkpoint has exactly the keys at, key, root, signature, site and size")
    for key, pattern in form.items():
        if not isinstance(row[key], str) or not re.fullmatch(pattern, row[key]):
            raise CheckpointError(f"the checkpoint's {key} is malformed")
    if type(row["size"]) is not int or row["size"] < 1:
        raise CheckpointError("the checkpoint's size is malformed")
    return Checkpoint(row["site"], row["size"], row["root"], row["at"], row["key"], row["signature"])


def kept(reader: Reader) -> list[Checkpoint]:
    """The site's checkpoints that the ledger keeps, the smallest first."""
    return [Checkpoint(reader.site, *row) for row in reader.kept("checkpoint")]


class Keys:
    """The site's keys as its facts name them: which was in force when."""

    def __init__(self, named: list[Fact]) -> None:
        self.named = [(fact.seq, str(fact.data["key"])) for fact in named]
        self._facts = named

    def at(self, size: int) -> str | None:
        """The key in force for a tree of `size` facts; None before the first."""
        return next((key for seq, key in reversed(self.named) if seq <= size), None)

    def unvouched(self) -> list[int]:
        """The numbers of the facts that changed the key without the signature of the key before."""
        return [
            new.seq
            for old, new in pairwise(self._facts)
            if not signed_by(old.data["key"], str(new.data.get("vouched")), vouched_for(new.site, new.data["key"]))
        ]


def vouched_for(site: str, key: str) -> Data:
    """What the old key signs to hand over to the new one."""
    return {"key": key, "site": site}


def fault_of(checkpoint: Checkpoint, keys: Keys, root: bytes) -> str | None:
    """What is wrong with a checkpoint, given the root its facts have; None when it holds."""
    name = f"checkpoint {checkpoint.size} of site {checkpoint.site}"
    key = keys.at(checkpoint.size)
    if key is None or not key.startswith(checkpoint.key):
        return f"{name} is signed by a key that the record does not name"
    if not checkpoint.signed(key):
        return f"{name} is forged: its signature does not hold"
    if checkpoint.root != root.hex():
        return f"{name} does not fit: a fact up to {checkpoint.size} was changed, and those after it made to follow"
    return None
