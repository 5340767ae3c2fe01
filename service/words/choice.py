"""Which language a request wants: the tablet's choice, kept in a cookie; else the practice's, or a program's own."""

import re
from collections.abc import Iterable

from service.words.known import ENGLISH, languages

Headers = Iterable[tuple[bytes, bytes]]
COOKIE = "language"
_COOKIE = re.compile(rb"(?:^|;)\s*language=([A-Za-z-]{2,12})\s*(?:;|$)")


def for_a_page(headers: Headers, practice: str) -> str:
    """A page and its stream of events: what the tablet chose, else the practice's language."""
    return _cookie(headers) or practice


def for_an_answer(headers: Headers) -> str:
    """An answer to a program: its cookie, else the first language it accepts (RFC 9110), else English."""
    headers = tuple(headers)
    return _cookie(headers) or _accepted(headers) or ENGLISH


def _cookie(headers: Headers) -> str | None:
    for name, value in headers:
        if name == b"cookie" and (found := _COOKIE.search(value)):
            return _known(found[1])
    return None


def _accepted(headers: Headers) -> str | None:
    for name, value in headers:
        if name == b"accept-language":
            return _known(re.split(rb"[,;-]", value.strip(), maxsplit=1)[0])
    return None


def _known(code: bytes) -> str | None:
    text = code.decode("latin-1")
    return text if text in languages() else None
