"""Every design on every stock at every resolution, looked at from outside: two stock decoders, and a ruler on the dots.

The ruler knows nothing of how a label is laid out: it measures runs of black and white in the picture.
"""

import math
from collections import Counter

import numpy as np
import pytest
import zxingcpp

from label_templates import designs, fonts, gallery, stocks
from label_templates.grade import grade
from label_templates.raster import draw

SHOWN, REFUSED = gallery.combinations()
ON_PAPER = ("a4-page", "letter-page")
zbar = pytest.importorskip("pyzbar.pyzbar", reason="libzbar is not installed: no second decoder", exc_type=ImportError)


def runs_of(line):
    """Lengths of the runs of one colour along a line of dots."""
    edges = np.flatnonzero(np.diff(line)) + 1
    return np.diff(np.concatenate(([0], edges, [len(line)])))


def box_of(ink, found):
    """Left, top, right, bottom of a symbol's ink: from where a decoder saw it outwards, to white all round."""
    corners = np.array(
        [
            (p.x, p.y)
            for p in (
                found.position.top_left,
                found.position.top_right,
                found.position.bottom_right,
                found.position.bottom_left,
            )
        ]
    )
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0) + 1
    left, top, right, bottom = max(0, left), max(0, top), min(ink.shape[1], right), min(ink.shape[0], bottom)
    moved = True
    while moved:
        moved = False
        if left > 0 and ink[top:bottom, left - 1].any():
            left, moved = left - 1, True
        if right < ink.shape[1] and ink[top:bottom, right].any():
            right, moved = right + 1, True
        if top > 0 and ink[top - 1, left:right].any():
            top, moved = top - 1, True
        if bottom < ink.shape[0] and ink[bottom, left:right].any():
            bottom, moved = bottom + 1, True
    part = ink[top:bottom, left:right]
    rows, columns = np.flatnonzero(part.any(axis=1)), np.flatnonzero(part.any(axis=0))
    return left + columns[0], top + rows[0], left + columns[-1] + 1, top + rows[-1] + 1


def measured(ink, found):
    """The module of a symbol in dots, and the white around it in modules; fails where a run is no whole number of them."""
    left, top, right, bottom = box_of(ink, found)
    part = ink[top:bottom, left:right]
    if found.format == zxingcpp.BarcodeFormat.Code128:
        line = part[len(part) // 2]
        assert (part == line).all(), "bars are not straight"
        module = math.gcd(*runs_of(line).tolist())
        assert (right - left - 13 * module) % (11 * module) == 0
        white = min(free(ink[(top + bottom) // 2, :left][::-1]), free(ink[(top + bottom) // 2, right:]))
        return module, white / module
    lengths = [length for line in (*part, *part.T) for length in runs_of(line).tolist()]
    module = math.gcd(*lengths)
    assert right - left == bottom - top
    assert (right - left) % module == 0
    assert ((right - left) // module - 17) % 4 == 0
    around = (
        ink[top:bottom, :left][:, ::-1],
        ink[top:bottom, right:],
        ink[:top, left:right][::-1].T,
        ink[bottom:, left:right].T,
    )
    return module, min(free(side.any(axis=0)) for side in around) / module


def free(line):
    """Dots of white before the first black; all of them where there is none."""
    black = np.flatnonzero(line)
    return int(black[0]) if black.size else len(line)


@pytest.mark.parametrize("design", designs.names())
def test_two_stock_decoders_read_it_it_is_an_a_and_its_dots_are_whole_and_its_quiet_zones_kept(design):
    looked = 0
    for one in SHOWN:
        if one.design.name != design:
            continue
        picture = np.asarray(draw(one.drawing()).convert("L"))
        ink = picture < 128
        expected = Counter(placed.symbol.text for placed in one.drawing().symbols)
        found = zxingcpp.read_barcodes(
            picture, formats=(zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)
        )
        assert Counter(result.text for result in found) == expected, one.name
        for result in found:
            module, white = measured(ink, result)
            least = 10 if result.format == zxingcpp.BarcodeFormat.Code128 else 4
            assert white >= least, f"{one.name}: {result.text} has {white} modules of quiet zone"
            assert module >= 2, one.name
        graded = grade(picture)
        assert Counter(one.text for one in graded) == expected, one.name
        assert {(mine.letter, mine.number, mine.advice) for mine in graded} == {("A", 4.0, ())}, one.name
        second = zbar.decode(picture, symbols=[zbar.ZBarSymbol.QRCODE, zbar.ZBarSymbol.CODE128])
        assert {result.data.decode() for result in second} == set(expected), one.name
        looked += 1
    assert looked >= (6 if design == "outage" else 24)


@pytest.mark.parametrize("design", designs.names())
def test_no_ink_leaves_its_part_and_no_text_touches_a_symbol_or_another_text(design):
    for one in SHOWN:
        if one.design.name != design:
            continue
        for face in one.drawing().faces:
            marks = list(quiet_boxes(face))
            texts = [fonts.ink(text.text, text.weight, text.size, text.x, text.y) for text in face.texts]
            for number, box in enumerate(texts):
                assert box[0] >= 0 and box[1] >= 0 and box[2] <= face.width and box[3] <= face.height, (
                    one.name,
                    face.texts[number],
                )
                for other in marks + texts[number + 1 :]:
                    assert apart(box, other), (one.name, face.texts[number], other)
            for box in marks + [(x, y, x + wide, y + tall) for x, y, wide, tall in face.boxes]:
                assert box[0] >= 0 and box[1] >= 0 and box[2] <= face.width and box[3] <= face.height, one.name


def quiet_boxes(face):
    for placed in face.symbols:
        side = placed.symbol.quiet * placed.module
        above = side if placed.symbol.symbology == "QR" else 0
        right, bottom = placed.x + placed.symbol.width * placed.module, placed.y + placed.symbol.height * placed.tall
        yield placed.x - side, placed.y - above, right + side, bottom + above


def apart(one, other):
    return one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]


def test_what_does_not_go_together_is_said_with_its_reason():
    known = {(one.design.name, one.stock.name) for one in SHOWN}
    for one in REFUSED:
        assert one["design"] in one["why"] or one["stock"] in one["why"]
        assert (one["design"], one["stock"]) not in known
    labels = [name for name in stocks.names() if name not in ON_PAPER]
    everywhere = [name for name in designs.names() if name not in {"outage", "checkpoint"}]
    missing = {(design, stock) for design in everywhere for stock in labels} - known
    assert missing == {("slip", "a4-65")}  # a date is never shortened
    assert {("outage", page) for page in ON_PAPER} <= known
