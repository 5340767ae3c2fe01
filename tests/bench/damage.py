"""What a reader bears: for each damage of the made corpus the amount at which half is read, stock readers → ours."""

import pyzbar.pyzbar as zbar
import zxingcpp

from scanner.decode import read
from tests.bench.rows import row
from tests.scanner import made

TRIALS = 10
FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)
KINDS = [zbar.ZBarSymbol.QRCODE, zbar.ZBarSymbol.CODE128]
WANTED = {
    ("QR", "module size"): 1.25, ("CODE128", "module size"): 1.5, ("QR", "glare"): 2, ("CODE128", "glare"): 2,
    ("QR", "occlusion"): 5, ("CODE128", "occlusion"): 5, ("QR", "cylinder"): 1.3, ("CODE128", "cylinder"): 1.3,
}  # fmt: skip
SMALLER_IS_HARDER = {"module size", "contrast"}


def either(picture):
    """What stock zxing-cpp and stock zbar read between them."""
    found = {one.text for one in zxingcpp.read_barcodes(picture, formats=FORMATS)}
    return found | {one.data.decode("utf-8", "replace") for one in zbar.decode(picture, symbols=KINDS)}


def ours(picture):
    return {seen.text for seen in read(picture)}


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


def run():
    stock, mine, misreads = turned()
    rows = [row(f"Code 128 turned, of {len(made.ANGLES)} angles ({misreads} misread)", mine, stock, "reads", "all, 0 misread",
                mine == len(made.ANGLES) and not misreads, 0)]  # fmt: skip
    for symbology in ("QR", "CODE128"):
        for damage, how in made.DAMAGES.items():
            theirs, _ = made.fifty(either, symbology, damage, TRIALS)
            reached, wrong = made.fifty(ours, symbology, damage, TRIALS)
            better = theirs / reached if damage in SMALLER_IS_HARDER else reached / theirs
            least = WANTED.get((symbology, damage), 1)
            rows.append(row(f"{symbology} {damage}, half read at ({wrong} misread)", reached, theirs, how.unit,
                            f"{least} x harder, 0 misread", better >= least and not wrong, 2))  # fmt: skip
    return rows
