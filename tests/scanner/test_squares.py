"""QR codes read module by module: the layout, the decoding of doubtful modules, and labels spoilt beyond stock readers."""

import itertools
import math
import time

import numpy as np
import pytest
import qrcode

from label_templates import symbols
from label_templates.codes import card_code, is_code
from scanner.decode import read
from scanner.rescue import qr_layout, qr_soft, squares
from tests.scanner import made

LEVEL_Q = qrcode.constants.ERROR_CORRECT_Q
CODES = ["P-K7-0042-0017-R", "S-K7-0042-*", "L-K7-1-0331-K", "B-K7-003-J", "A-K7-000812-4", str(card_code("WET"))]


def drawn(version, mask):
    code = qrcode.QRCode(version=version, error_correction=LEVEL_Q, border=0, mask_pattern=mask)
    code.add_data(CODES[0])
    code.make(fit=False)
    return np.array(code.modules, bool)


@pytest.mark.parametrize("version", range(1, 8))
def test_the_patterns_and_formats_lie_where_another_library_draws_them(version):
    known = qr_layout.known(version)
    for mask in range(8):
        modules = drawn(version, mask)
        assert modules[known == 1].all()
        assert not modules[known == -1].any()
        rows, columns = qr_layout.formats(version)
        for copy in range(2):
            assert (modules[rows[copy], columns[copy]] == qr_layout.format_bits(qr_layout.LEVEL_Q, mask)).all()


def odds_of(text, sure=4.0):
    """Log odds of the 208 bits of a code's symbol as `symbols.qr` draws it, mask off."""
    modules = np.array(symbols.qr(text).modules, bool)
    rows, columns = qr_layout.formats(1)
    bits = modules[rows[0], columns[0]]
    (mask,) = [n for n in range(8) if (bits == qr_layout.format_bits(qr_layout.LEVEL_Q, n)).all()]
    return np.where((modules ^ qr_layout.mask(1, mask))[qr_layout.path(1)], sure, -sure)


@pytest.mark.parametrize("text", CODES)
def test_each_kind_of_code_is_read_from_its_bits_and_with_more_than_half_of_them_hidden(text):
    odds = odds_of(text)
    assert qr_soft.read(odds).text == text
    for seed in range(5):
        hidden = np.random.default_rng(seed).permutation(odds.size)[: math.floor(0.55 * odds.size)]
        seen = odds.copy()
        seen[hidden] = 0
        assert qr_soft.read(seen).text == text


def test_bits_that_lie_are_outvoted_and_too_many_of_them_give_nothing():
    odds, rng = odds_of(CODES[0]), np.random.default_rng(1)
    for wrong, readable in ((20, True), (90, False)):
        turned = rng.permutation(odds.size)[:wrong]
        seen = np.where(np.isin(np.arange(odds.size), turned), -0.2 * odds, odds)
        found = qr_soft.read(seen)
        assert (found.text if found else None) == (CODES[0] if readable else None)


def test_tosses_are_never_taken_for_a_code():
    rng = np.random.default_rng(7)
    assert [qr_soft.read(rng.normal(0, 4, qr_soft.BITS)) for _ in range(300)] == [None] * 300


@pytest.mark.parametrize(
    ("damage", "amount"),
    [("module size", 1.15), ("glare", 6), ("noise", 90), ("contrast", 6), ("void lines", 20), ("motion", 2.2),
     ("occlusion", 34), ("cylinder", 178)],
)  # fmt: skip
def test_a_symbol_spoilt_beyond_what_stock_readers_bear_is_read(damage, amount):
    hits = stock = 0
    for seed in range(4):
        picture, text = made.trial("QR", damage, amount, seed)
        stock += any(seen.text == text for seen in read(picture, 0))
        regions = list(squares.find(picture))
        read_here = [squares.read(picture, corners, time.monotonic() + 20) for corners in regions[:4]]
        texts = {found.text for found in read_here if found and found.text}
        assert texts <= {text}
        hits += text in texts
    assert hits >= 3 > stock


def test_the_corners_of_what_is_read_lie_on_the_symbol():
    picture, text = made.trial("QR", "glare", 3, 2)
    tried = [squares.read(picture, corners, time.monotonic() + 20) for corners in squares.find(picture)]
    found = next(one for one in tried if one and one.text)
    assert found.text == text
    assert is_code(text)
    side = np.linalg.norm(found.corners - np.roll(found.corners, 1, axis=0), axis=1)
    assert np.allclose(side, 21 * made.PIXELS["QR"], atol=4)
    assert np.abs(found.corners.mean(axis=0) - np.array(picture.shape[::-1]) / 2).max() < 5


def test_a_code_surely_there_whose_data_are_gone_is_given_without_a_text():
    rng = np.random.default_rng(2)
    one = made.shot("QR", CODES[0], rng)
    gone = np.kron(qr_layout.known(1) == 0, np.ones((one.per, one.per), bool))
    toss = np.kron(rng.random((21, 21)) < 0.5, np.ones((one.per, one.per), bool))
    left, top, right, bottom = map(int, one.box)
    inner = one.flat[top:bottom, left:right]
    inner[gone] = np.where(toss, made.INK, made.PAPER)[gone]
    picture = made.taken(one)
    found = [
        squares.read(picture, corners, time.monotonic() + 20) for corners in itertools.islice(squares.find(picture), 3)
    ]
    assert {one.text for one in found if one} == {""}


def test_nothing_is_read_after_its_time():
    picture, _ = made.trial("QR", "glare", 3, 2)
    assert squares.read(picture, next(squares.find(picture)), time.monotonic() - 1) is None
