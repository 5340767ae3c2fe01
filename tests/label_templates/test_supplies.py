"""Supplies: GS1 data in its three symbols, its parts parsed by a library and checked."""

from datetime import date

import numpy as np
import pytest
import zxingcpp

from label_templates import supplies
from label_templates.supplies import SupplyError

TOLD = "(01)09506000134352(17)270331(10)A1B2(21)XYZ"
"""GTIN 09506000134352 is GS1's own for examples; its check digit is right."""
SENT = "01095060001343521727033110A1B2\x1d21XYZ"


def drawn(name):
    made = zxingcpp.create_barcode(TOLD, getattr(zxingcpp.BarcodeFormat, name), gs1=True)
    return np.pad(np.array(made.to_image(scale=4, add_quiet_zones=True)), 20, constant_values=255)


@pytest.mark.parametrize("name", ["Code128", "DataMatrix", "QRCode"])
def test_each_of_the_three_symbols_is_read(name):
    (text,) = supplies.read(drawn(name))
    found = supplies.parse(text)
    assert (found.gtin, found.lot, found.expires, found.serial) == ("09506000134352", "A1B2", date(2027, 3, 31), "XYZ")


@pytest.mark.parametrize("text", [SENT, TOLD, f"]C1{SENT}", f"]d2\x1d{SENT}", f"]Q3{SENT}"])
def test_it_is_the_same_however_a_reader_sends_it(text):
    assert supplies.looks_like_one(text)
    assert supplies.parse(text) == supplies.parse(SENT)


# Published check digits: GS1 India worked example; SSCC of GS1 General Specifications table 7-9 (CHECKS section 1).
@pytest.mark.parametrize("text", ["0108904000210037", "00376104250021234569"])
def test_published_check_digits_hold_and_any_other_does_not(text):
    assert supplies.parse(text).parts
    for digit in "0123456789":
        if digit != text[-1]:
            with pytest.raises(SupplyError, match="scan it again"):
                supplies.parse(text[:-1] + digit)


@pytest.mark.parametrize(
    "text",
    ["", "0109506000134353", "010950600013435217279931", "9", "P-K7-0042-0017-R", "01" * 200, "01x9506000134352", "\x1d", "]C1"],
)  # fmt: skip
def test_what_does_not_hold_is_refused_in_one_line(text):
    with pytest.raises(SupplyError) as told:
        supplies.parse(text)
    assert "\n" not in str(told.value)


def test_our_own_codes_and_words_are_not_taken_for_one():
    assert not any(supplies.looks_like_one(text) for text in ("P-K7-0042-0017-R", "LOT 77", "0142", "A1B2"))
    assert supplies.read(np.full((100, 100), 255, np.uint8)) == []
