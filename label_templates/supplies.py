"""Supplies and implants: the GS1 data on a maker's box, read from a picture or a hand scanner, and checked.

The application identifiers and their lengths are those of the GS1 General Specifications, kept by python-stdnum.
"""

import re
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import zxingcpp
from numpy.typing import NDArray
from stdnum import ean, gs1_128
from stdnum.exceptions import ValidationError

_FORMATS = zxingcpp.BarcodeFormats(
    (zxingcpp.BarcodeFormat.Code128, zxingcpp.BarcodeFormat.DataMatrix, zxingcpp.BarcodeFormat.QRCodeModel2)
)
_SEPARATOR = "\x1d"
_IDENTIFIER = re.compile(r"\](?:C1|d2|Q3)")
"""What a reader puts before GS1-128, GS1 DataMatrix and GS1 QR (ISO/IEC 15424)."""
_BRACKETS = re.compile(r"\((\d{2,4})\)")
_LONGEST = 300


class SupplyError(ValueError):
    """A text that is not GS1 data, or whose parts do not hold."""


@dataclass(frozen=True, slots=True)
class Supply:
    """What a maker's code says: GTIN, lot, last day of use, serial number, where it has them; and all of it by AI."""

    gtin: str | None
    lot: str | None
    expires: date | None
    serial: str | None
    parts: dict[str, str]


def looks_like_one(text: str) -> bool:
    """Whether a text is meant as GS1 data, right or wrong: by a reader's identifier, a separator, or a GTIN's AI."""
    return bool(_IDENTIFIER.match(text) or _SEPARATOR in text or re.match(r"\(?01\)?\d{14}", text))


def parse(text: str) -> Supply:
    """The supply that GS1 data names. Raises SupplyError saying what does not hold.

    Check digits, dates and lengths are checked; a reader's identifier and brackets round the AIs may be there or not.
    """
    if len(text) > _LONGEST:
        raise SupplyError(f"a maker's code has at most {_LONGEST} characters, this one has {len(text)}")
    bare = _BRACKETS.sub(rf"{_SEPARATOR}\1", _IDENTIFIER.sub("", text, count=1)).strip(_SEPARATOR)
    try:
        found: dict[str, Any] = gs1_128.info(bare, _SEPARATOR)
    except (ValidationError, ValueError, IndexError) as error:
        raise SupplyError(f"{bare[:40]!r} is not a maker's code that holds ({_why(error)}): scan it again") from error
    if not found:
        raise SupplyError("there is nothing in this maker's code")
    if "00" in found and ean.calc_check_digit(found["00"][:-1]) != found["00"][-1]:
        raise SupplyError(f"the check digit of {found['00']} is wrong: scan it again")
    expires = found.get("17") or found.get("16") or found.get("15")
    return Supply(
        found.get("01") or found.get("02"), found.get("10"), expires if isinstance(expires, date) else None,
        found.get("21"), {key: str(value) for key, value in found.items()},
    )  # fmt: skip


def _why(error: Exception) -> str:
    return str(error).rstrip(".").lower() or type(error).__name__


def read(picture: NDArray[np.uint8]) -> list[str]:
    """The GS1 data in a grey picture (height × width) of GS1-128, GS1 DataMatrix and GS1 QR, as a reader sends it."""
    found = zxingcpp.read_barcodes(picture, formats=_FORMATS, text_mode=zxingcpp.TextMode.Plain)
    return [result.text for result in found if result.content_type == zxingcpp.ContentType.GS1]
