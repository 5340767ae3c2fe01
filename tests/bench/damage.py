"""What a reader bears: for each damage of the made corpus the amount at which half is read, stock readers → ours.

Of a Code 128 under one thing or one reflection it is also counted until when half of the labels still show all but one
of their characters, at one height or another: its two checks restore one, and what shows fewer cannot be read.
"""

from functools import partial

import numpy as np
import pyzbar.pyzbar as zbar
import zxingcpp

from scanner.decode import read
from scanner.fuse import Stack
from tests.bench.rows import row
from tests.scanner import made

TRIALS = 10
FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)
KINDS = [zbar.ZBarSymbol.QRCODE, zbar.ZBarSymbol.CODE128]
WANTED = {
    ("QR", "module size"): 1.25, ("CODE128", "module size"): 1.5, ("QR", "glare"): 2, ("CODE128", "glare"): 2,
    ("QR", "occlusion"): 5, ("CODE128", "occlusion"): 5, ("QR", "cylinder"): 1.3, ("CODE128", "cylinder"): 1.3,
    ("QR", "highlights"): 2, ("CODE128", "highlights"): 2, ("QR", "spatter"): 5, ("CODE128", "spatter"): 5,
}  # fmt: skip
ONE_LEFT = {("CODE128", "glare"), ("CODE128", "occlusion")}
SMALLER_IS_HARDER = {"module size", "contrast"}


def either(picture):
    """What stock zxing-cpp and stock zbar read between them."""
    found = {one.text for one in zxingcpp.read_barcodes(picture, formats=FORMATS)}
    return found | {one.data.decode("utf-8", "replace") for one in zbar.decode(picture, symbols=KINDS)}


def ours(picture):
    return {seen.text for seen in read(picture)}


def five(pictures):
    """What ours reads of five frames laid over each other."""
    stack = Stack()
    for picture in pictures:
        tall, wide = picture.shape
        stack.add(picture, np.array([(0.16, 0.16), (0.84, 0.16), (0.84, 0.84), (0.16, 0.84)]) * (wide, tall))
    return {text for picture in stack.pictures() for text in ours(picture)}


def legible(damage):
    """The amount at which half of the Code 128s still show all but one of their characters."""

    def take(_, damage, amount, seed):
        return made.hidden_characters(damage, amount, seed), ""

    point, _ = made.fifty(lambda hidden: {""} if hidden <= 1 else set(), "CODE128", damage, 40, take)
    return point


def turned():
    """Of Code 128 at every angle of `made.ANGLES`: how many stock readers and ours read; our misreads."""
    stock = mine = misreads = 0
    for angle in made.ANGLES:
        picture, text = made.turned(angle)
        stock += text in either(picture)
        texts = ours(picture)
        mine += text in texts
        misreads += len(texts - {text})
    return stock, mine, misreads


def bearable(symbology):
    """The rows of one symbology."""
    rows = []
    for damage, how in made.DAMAGES.items():
        theirs, _ = made.fifty(either, symbology, damage, TRIALS)
        reached, wrong = made.fifty(ours, symbology, damage, TRIALS)
        better = theirs / reached if damage in SMALLER_IS_HARDER else reached / theirs
        least = WANTED.get((symbology, damage), 1)
        rows.append(row(f"{symbology} {damage}, half read at ({wrong} misread)", reached, theirs, how.unit,
                        f"{least} x harder, 0 misread", better >= least and not wrong, 2))  # fmt: skip
        if (symbology, damage) in ONE_LEFT:
            most = legible(damage)
            rows.append(row(f"{symbology} {damage}, half read; anchor: half show all but one character", reached,
                            most, how.unit, ">= 0.9 x", reached >= 0.9 * most, 2))  # fmt: skip
    theirs, _ = made.fifty(either, symbology, "noise", TRIALS)
    reached, wrong = made.fifty(five, symbology, "noise", TRIALS, partial(made.frames, count=5))
    rows.append(row(f"{symbology} noise, half read of five frames ({wrong} misread)", reached, theirs, "levels",
                    "2.5 x harder, 0 misread", reached >= 2.5 * theirs and not wrong, 2))  # fmt: skip
    return rows


def run():
    stock, mine, misreads = turned()
    turns = row(f"Code 128 turned, of {len(made.ANGLES)} angles ({misreads} misread)", mine, stock, "reads",
                "all, 0 misread", mine == len(made.ANGLES) and not misreads, 0)  # fmt: skip
    return [turns, *bearable("QR"), *bearable("CODE128")]
