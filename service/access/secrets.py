"""Secrets: made here, given once, and kept only as what cannot be turned back into them."""

import hashlib
import hmac
import secrets
from contextlib import suppress
from itertools import pairwise

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""For a code that a person types: nothing that is read as something else."""
SHORTEST_PIN, LONGEST_PIN = 6, 12


class WeakPinError(ValueError):
    """A PIN that is too easily guessed, with what to choose instead."""


def new_token() -> str:
    """A token of 256 random bits, for a cookie or a header."""
    return secrets.token_urlsafe(32)


def new_code() -> str:
    """A one-time code of 59 random bits that a person can type, such as `7KQM-2XRD-94TA`."""
    letters = [secrets.choice(LETTERS) for _ in range(12)]
    return "-".join("".join(letters[at : at + 4]) for at in (0, 4, 8))


def said(code: str) -> str:
    """A one-time code as it was made, however it was typed."""
    plain = "".join(letter for letter in code.upper() if letter in LETTERS)
    return "-".join(plain[at : at + 4] for at in range(0, len(plain), 4))


def digest(secret: str) -> str:
    """What is kept of a token or a one-time code: they are random, so that a plain hash is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()


def same(secret: str, kept: str) -> bool:
    return hmac.compare_digest(digest(secret), kept)


def check_pin(pin: str) -> None:
    """Raise WeakPinError unless `pin` may be somebody's PIN."""
    if not (pin.isascii() and pin.isdecimal() and SHORTEST_PIN <= len(pin) <= LONGEST_PIN):
        raise WeakPinError(f"a PIN has {SHORTEST_PIN} to {LONGEST_PIN} digits")
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    if len(steps) == 1 or len(set(pin)) < 3:
        raise WeakPinError("this PIN is among the first that anyone tries: choose other digits")


def new_pin() -> str:
    """A PIN for somebody who does not choose one."""
    while True:
        pin = "".join(secrets.choice("0123456789") for _ in range(SHORTEST_PIN))
        with suppress(WeakPinError):
            check_pin(pin)
            return pin


def right_pin(hasher: PasswordHasher, kept: str, pin: str) -> bool:
    """Whether `pin` is the one that was hashed, by argon2id (RFC 9106)."""
    try:
        return hasher.verify(kept, pin)
    except (VerificationError, InvalidHashError):
        return False
