"""A photograph of a label graded: a QR code and a Code 128 in a picture of twelve million pixels; the anchor is its decoding alone."""

import numpy as np
import zxingcpp

from label_templates import grade, raster, stocks
from label_templates.labels import Mark, SetTag
from tests.bench.rows import row, seconds
from tests.label_templates.grade.prints import photographed

PIXELS = (3000, 4000)
TAG = SetTag("S-K7-0042-*", "Dental extraction A", Mark("blue", "waves"))
FORMATS = zxingcpp.BarcodeFormats((zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128))


def telephone():
    """The label leaning and somewhat turned on a bench, filling half of what a telephone's camera takes."""
    label = np.asarray(raster.picture(TAG, stocks.stock("roll-62x40")), np.float32)
    taken = photographed(np.kron(label, np.ones((4, 4), np.float32)) * 0.8 + 0.1, lean=12, turn=5, noise=0.02)
    picture = np.random.default_rng(2).integers(190, 214, PIXELS, np.uint8)
    top, left = (PIXELS[0] - taken.shape[0]) // 2, (PIXELS[1] - taken.shape[1]) // 2
    picture[top : top + taken.shape[0], left : left + taken.shape[1]] = taken
    return picture


def run():
    picture = telephone()
    found = grade.grade(picture)
    ours = seconds(lambda: grade.grade(picture), 5) * 1000
    anchor = seconds(lambda: zxingcpp.read_barcodes(picture, formats=FORMATS), 5) * 1000
    met = ours <= 250 and {one.symbology for one in found} == {"QR", "CODE128"}
    return [row("a photograph graded, 12 million pixels, two symbols", ours, anchor, "ms", "<= 250 ms", met)]
