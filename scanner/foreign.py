"""Foreign: what a text looks like that is not one of this site's codes. It is told in words, and never posted."""

import re
from dataclasses import dataclass

import numpy as np

from label_templates.codes import Code, CodeError, parse
from scanner.decode import Sighting, ours

_ADDRESS = re.compile(r"(?:https?|ftps?)://|www\.|(?:mailto|tel|sms|geo|wifi|begin|mecard|matmsg):", re.IGNORECASE)
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")
_GTIN = re.compile(r"01(\d{14})(?:1[01357]|21|30|$)")
"""AI 01 with its number, and what usually follows: GS1 General Specifications 3.2, from memory."""
_IDENTIFIER = re.compile(r"^\](?:C0|Q[0-6])")
"""What a hand scanner may put before a plain Code 128 or a QR code: ISO/IEC 15424, from memory."""
_LONG = 300
_NOWHERE = np.zeros((4, 2))


@dataclass(frozen=True, slots=True)
class Foreign:
    """What a text looks like: `kind` to count by, `words` for a person, without a text that could do harm."""

    kind: str
    words: str


def sort(seen: Sighting, site: str | None = None, patient_pattern: str | None = None) -> str | Foreign:
    """The code a sighting is, when it may be posted from `site` (None: any); what it looks like, when it may not."""
    code = ours(seen, patient_pattern)
    if code is None:
        return looks_like(seen.text)
    if isinstance(code, Code) and site and code.site not in {None, site}:
        return Foreign("site", f"{code} is a {code.kind} of site {code.site}, and this is {site}")
    return str(code)


def sort_typed(text: str, site: str | None = None, patient_pattern: str | None = None) -> str | Foreign:
    """The same of a text from a hand scanner: with Caps Lock on, a keyboard's letters of a code come small."""
    text = _IDENTIFIER.sub("", text)
    plain, raised = (
        sort(Sighting(one, "TEXT", _NOWHERE, "hand scanner"), site, patient_pattern) for one in (text, text.upper())
    )
    if isinstance(plain, str):
        return plain
    return raised if isinstance(raised, str) or raised.kind in {"check", "site"} else plain


def looks_like(text: str) -> Foreign:
    """What a text that is none of our codes looks like, by its signs."""
    if _wrong_check(text):
        return Foreign(
            "check", f"{text} has our codes' shape and a wrong check character: show it again, or reprint it"
        )
    if _is_gs1(text):
        return Foreign("gs1", "a product's or supplier's code (GS1)")
    if _ADDRESS.match(text):
        return Foreign("address", "an address of the web or a telephone; it is not opened")
    if _CONTROL.search(text):
        return Foreign("control", "a text with control characters in it")
    if len(text) > _LONG:
        return Foreign("long", f"a text of {len(text):,} characters")
    if text.isdecimal():
        return Foreign("number", f"a number of {len(text)} digits, such as a product's")
    return Foreign("text", f"some other text of {len(text)} characters")


def _wrong_check(text: str) -> bool:
    try:
        parse(text)
    except CodeError as error:
        return error.fault == "check"
    return False


def _is_gs1(text: str) -> bool:
    """GS1 data: a symbology identifier, a group separator, an AI in brackets, or a GTIN after AI 01."""
    if text.startswith(("]C1", "]Q3", "]d2")) or "\x1d" in text or re.match(r"\(\d{2,4}\)", text):
        return True
    found = _GTIN.match(text)
    return bool(found and _mod10(found[1]))


def _mod10(digits: str) -> bool:
    """Whether the last digit checks the others, weighted 3 and 1 from the right: GS1 General Specifications 7.9."""
    return sum(int(digit) * (3 if place % 2 else 1) for place, digit in enumerate(reversed(digits))) % 10 == 0
