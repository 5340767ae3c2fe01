"""A site's signing key: Ed25519 (RFC 8032), in a file of its own, apart from the ledger. Facts name its public half."""

import os
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)

from service.custody.facts import Data
from service.ledger.seal import canonical
from service.ledger.store import LedgerError


class SigningKey:
    """A private key. `public` is its public half: 64 hex digits."""

    def __init__(self, private: Ed25519PrivateKey) -> None:
        self._private = private
        self.public = private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw).hex()

    def sign(self, body: Data) -> str:
        """The signature, 128 hex digits, of the canonical JSON of `body`."""
        return self._private.sign(canonical(body).encode()).hex()


def signed_by(public: str, signature: str, body: Data) -> bool:
    """Whether `signature` is that of `public`, both in hex, on the canonical JSON of `body`."""
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(bytes.fromhex(signature), canonical(body).encode())
    except (InvalidSignature, ValueError):
        return False
    return True


def make_key(path: Path) -> SigningKey:
    """A new key in a new file that only its owner may read. Raises LedgerError when something is there."""
    private = Ed25519PrivateKey.generate()
    pem = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(pem)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError as error:
        raise LedgerError(f"{path} is there already: a key is never written over; name another file") from error
    except OSError as error:
        raise LedgerError(f"the key {path} cannot be written ({error.strerror}): check the folder") from error
    return SigningKey(private)


def load_key(path: Path) -> SigningKey:
    """The key in a file. Raises LedgerError when it is not there, not a key, or open to others."""
    try:
        if path.stat().st_mode & 0o077:
            raise LedgerError(f"the key {path} can be read by others: run  chmod 600 {path}")
        private = load_pem_private_key(path.read_bytes(), password=None)
    except OSError as error:
        raise LedgerError(
            f"the signing key {path} cannot be read ({error.strerror}): name it with --key or FOLDMARK_KEY"
        ) from error
    except (ValueError, TypeError) as error:
        raise LedgerError(f"{path} is not a signing key: name the file that  foldmark init  made") from error
    if not isinstance(private, Ed25519PrivateKey):
        raise LedgerError(f"{path} holds a key of another kind: an Ed25519 key is needed")
    return SigningKey(private)
