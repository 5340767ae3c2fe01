"""Proof: every symbol is read back from its own drawing before a label leaves the house."""

from collections import Counter

import numpy as np
import zxingcpp
from PIL import Image

from label_templates.layout import Drawing

_FORMATS = zxingcpp.BarcodeFormats((zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128))


class ProofError(ValueError):
    """A symbol that does not read back as its code."""


def read(image: Image.Image) -> list[str]:
    """The texts of all QR codes and Code 128s in a picture, by a stock decoder."""
    found = zxingcpp.read_barcodes(np.asarray(image.convert("L")), formats=_FORMATS)
    return [result.text for result in found]


def prove(image: Image.Image, drawing: Drawing) -> None:
    """Raise ProofError unless exactly the symbols of `drawing` are read from its picture."""
    expected = Counter(placed.symbol.text for placed in drawing.symbols)
    seen = Counter(read(image))
    if seen != expected:
        missing = expected - seen
        strange = seen - expected
        raise ProofError(
            f"the label does not read back (missing {', '.join(missing) or 'none'}, "
            f"strange {', '.join(strange) or 'none'}): nothing was written"
        )
