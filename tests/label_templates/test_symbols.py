"""Symbols: Code 128 as short as any encoder writes it, QR codes at the level the scanner knows, bars made thinner."""

import random

import numpy as np
import pytest
import qrcode
import zxingcpp
from barcode.codex import Code128

from label_templates import code128, codes, raster, stocks, symbols
from label_templates.labels import LoadCard, SetTag
from label_templates.layout import Placed, lay_out

LINEAR = zxingcpp.BarcodeFormat.Code128
rng = random.Random(128)
SHAPES = (
    lambda: codes.pack_code(codes.set_code("K7", rng.randrange(10_000)).text, rng.randrange(1, 10_000)).text,
    lambda: codes.load_code("L-K7-1", rng.randrange(10_000)).text,
    lambda: "".join(rng.choices("0123456789ABC-", k=rng.randrange(1, 24))),
    lambda: "".join(chr(rng.randrange(32, 127)) for _ in range(rng.randrange(1, 24))),
    lambda: "".join(rng.choices("0123456789", k=rng.randrange(1, 24))),
    lambda: "".join(rng.choices("0123456789abAB\n\t", k=rng.randrange(1, 24))),
)


def drawn(row):
    white = np.pad(~np.array([row]), ((0, 0), (10, 10)), constant_values=True)
    return (np.kron(white, np.ones((30, 2))) * 255).astype(np.uint8)


def texts(picture):
    return [r.text for r in zxingcpp.read_barcodes(picture, formats=LINEAR, text_mode=zxingcpp.TextMode.Plain)]


def by_zxing(text):
    return tuple(
        (np.asarray(zxingcpp.create_barcode(text, LINEAR).to_image(scale=1, add_quiet_zones=False))[0] < 128).tolist()
    )


def by_python_barcode(text):
    try:
        (row,) = Code128(text).build()
    except Exception:  # noqa: BLE001 – whatever it cannot write, it is no reference for
        return None
    return tuple(cell == "1" for cell in row)


def test_ten_thousand_codes_are_as_short_as_any_reference_encoder_writes_them():
    """zxing-cpp 3.1 and python-barcode 0.16; a reference counts where a stock decoder reads it back as the text."""
    shorter = 0
    for number in range(10_000):
        text = SHAPES[number % len(SHAPES)]()
        ours = code128.modules(code128.characters(text))
        assert len(ours) <= len(by_zxing(text)), text
        theirs = by_python_barcode(text)
        if theirs and len(theirs) < len(ours):
            assert texts(drawn(theirs)) != [text], text
        shorter += bool(theirs) and len(theirs) > len(ours)
        if number % 20 == 0:
            assert texts(drawn(ours)) == [text], text
    assert shorter > 100


# Check characters as published: barcodeisland.com/code128.phtml; barcoderesource.com/images/code128_check_character.html.
@pytest.mark.parametrize(("text", "check"), [("HI345678", 67), ("abcdef", 97), ("345678", 73)])
def test_the_published_check_characters_come_out(text, check):
    assert code128.characters(text)[-2] == check


@pytest.mark.parametrize("text", ["B-K7-003-J", "P-K7-0042-0017-R", "S-K7-0042-*", "K-WET-E", "K-DROPPED-T"])
def test_each_of_our_codes_is_version_1_at_level_q_which_the_scanners_rescue_knows(text):
    symbol = symbols.qr(text)
    assert (symbol.level, symbol.width) == ("Q", 21)


@pytest.mark.parametrize("text", ["P-K7-0042-0017-R", "01234567", "B-K7-003-J", "größer und länger"])
def test_its_modules_are_those_of_another_encoder_at_one_of_the_eight_masks(text):
    symbol = symbols.qr(text)
    others = []
    for mask in range(8):
        level = getattr(qrcode.constants, f"ERROR_CORRECT_{symbol.level}")
        other = qrcode.QRCode(version=(symbol.width - 17) // 4, error_correction=level, border=0, mask_pattern=mask)
        other.add_data(text.encode() if not text.isascii() else text, optimize=0)
        other.make(fit=False)
        others.append(tuple(tuple(bool(cell) for cell in row) for row in other.modules))
    assert symbol.modules in others or not text.isascii()
    found = zxingcpp.read_barcodes(
        np.pad(np.where(np.kron(symbol.modules, np.ones((4, 4))), 0, 255).astype(np.uint8), 16, constant_values=255)
    )
    assert [result.text for result in found] == [text]


@pytest.mark.parametrize("thinner", [1, 2])
@pytest.mark.parametrize(
    "label",
    [SetTag("S-K7-0042-*", "Dental extraction A"), LoadCard("L-K7-1-0331-K", "Steriliser 1")],
    ids=lambda one: one.code,
)
def test_bars_are_thinner_by_whole_dots_where_the_printer_makes_them_fatter(label, thinner):
    """A printer that adds the dots again, on the right and below, gives back the symbol as it should be."""
    plain, thin = (stocks.stock("a4-14", 600.0, dots) for dots in (0, thinner))
    wanted, sent = (np.asarray(raster.picture(label, stock)) == 0 for stock in (plain, thin))
    for placed in lay_out(label, thin).symbols:
        assert placed.thinner == thinner
        printed = np.zeros_like(sent)
        before = thinner // 2
        for down in range(thinner + 1 if placed.symbol.symbology == "QR" else 1):
            for across in range(thinner + 1):
                rows = down - before if placed.symbol.symbology == "QR" else 0
                printed |= np.roll(sent, (rows, across - before), (0, 1))
        box = np.s_[
            placed.y : placed.y + placed.symbol.height * placed.tall,
            placed.x : placed.x + placed.symbol.width * placed.module,
        ]
        assert (printed[box] == wanted[box]).all()
        assert sent[box].sum() < wanted[box].sum()


def test_a_module_no_wider_than_what_is_taken_off_is_never_drawn():
    placed = Placed(0, 0, symbols.code128("K-WET-E"), 3, 20, 2)
    assert min(wide for _, _, wide, _ in raster.ink(placed)) == 1
