"""Proof: every symbol is read back from its own drawing before a label leaves the house."""

from collections import Counter
from typing import Any

import numpy as np
import zxingcpp
from PIL import Image

from label_templates.layout import Drawing

_FORMATS = zxingcpp.BarcodeFormats((zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128))


class ProofError(ValueError):
    """A symbol that does not read back as its code."""


_PLAIN = {"try_rotate": False, "try_downscale": False, "try_invert": False, "binarizer": zxingcpp.Binarizer.BoolCast}
"""A label as it is drawn is black and white, upright or on its head: what photographs need is left out."""


def read(image: Image.Image, **how: Any) -> list[str]:
    """The texts of all QR codes and Code 128s in a picture, by a stock decoder."""
    found = zxingcpp.read_barcodes(np.asarray(image.convert("L")), formats=_FORMATS, **how)
    return [result.text for result in found]


def prove(image: Image.Image, drawing: Drawing) -> None:
    """Raise ProofError unless exactly the symbols of `drawing` are read from its picture."""
    expected = Counter(placed.symbol.text for placed in drawing.symbols)
    if Counter(read(image, **_PLAIN)) == expected:
        return
    seen = Counter(read(image))
    if seen != expected:
        missing = expected - seen
        strange = seen - expected
        raise ProofError(
            f"the label does not read back (missing {', '.join(missing) or 'none'}, "
            f"strange {', '.join(strange) or 'none'}): nothing was written"
        )
