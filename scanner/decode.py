"""Reading a picture: every QR code and Code 128 in it, and which of them are ours."""

import re
import time
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from label_templates.codes import Code, CodeError, parse

try:
    import pyzbar.pyzbar as zbar
except ImportError:  # libzbar is not installed: no second opinion
    zbar = None

Image = NDArray[np.uint8]
_FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)
_SECOND_OPINION_S = 0.035
"""Seconds zbar takes for a megapixel with nothing in it; measured on two cores, only to keep within a budget."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """A symbol seen: its text as read, `QR` or `CODE128`, its corners (4 × 2, pixels), and which reader read it."""

    text: str
    symbology: str
    corners: NDArray[np.float64]
    how: str
    clean: bool = False
    """A QR code that a stock reader read without using any of its error correction."""


def second_opinion() -> bool:
    """Whether libzbar is here."""
    return zbar is not None


def read(image: Image, budget_s: float | None = None) -> list[Sighting]:
    """What is seen of any QR or Code 128 in an 8-bit picture (height × width, grey, or × 3, BGR).

    zbar is asked only when zxing-cpp sees nothing, and only if it can answer within `budget_s` seconds. Nothing found
    is an empty list. Raises ValueError for an array of another shape or type.
    """
    if image.dtype != np.uint8 or image.ndim not in {2, 3} or (image.ndim == 3 and image.shape[2] != 3):
        raise ValueError(f"a picture is height × width (× 3) of 8 bits, not {image.shape} of {image.dtype}")
    began = time.monotonic()
    found = [
        _from_zxing(result)
        for result in zxingcpp.read_barcodes(image, formats=_FORMATS, text_mode=zxingcpp.TextMode.Plain)
        if result.text
    ]
    if found or zbar is None:
        return found
    needed = _SECOND_OPINION_S * image.shape[0] * image.shape[1] / 1e6
    if budget_s is not None and time.monotonic() - began + needed > budget_s:
        return []
    grey = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    kinds = [zbar.ZBarSymbol.QRCODE, zbar.ZBarSymbol.CODE128]
    return [sighting for result in zbar.decode(grey, symbols=kinds) if (sighting := _from_zbar(result))]


def _from_zxing(result: Any) -> Sighting:
    place = result.position
    corners = [(p.x, p.y) for p in (place.top_left, place.top_right, place.bottom_right, place.bottom_left)]
    symbology = "CODE128" if result.format == zxingcpp.BarcodeFormat.Code128 else "QR"
    return Sighting(result.text, symbology, np.array(corners, dtype=np.float64), "zxing")


def _from_zbar(result: Any) -> Sighting | None:
    try:
        text = result.data.decode("utf-8")
    except UnicodeDecodeError:
        text = result.data.decode("latin-1")
    if not text:
        return None
    corners = [(p.x, p.y) for p in result.polygon]
    if len(corners) != 4:
        left, top, wide, tall = result.rect
        corners = [(left, top), (left + wide, top), (left + wide, top + tall), (left, top + tall)]
    symbology = "QR" if result.type == "QRCODE" else "CODE128"
    return Sighting(text, symbology, np.array(corners, dtype=np.float64), "zbar")


def ours(sighting: Sighting, patient_pattern: str | None = None) -> Code | str | None:
    """The code a sighting is, every check passed; a patient's wristband that fits the site's pattern; or None.

    This is the one place where what was read becomes something that may be believed.
    """
    try:
        return parse(sighting.text)
    except CodeError:
        fits = patient_pattern and re.fullmatch(patient_pattern, sighting.text)
        return sighting.text if fits else None
