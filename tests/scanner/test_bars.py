"""The rescue of Code 128: what it bears, and that it never reads what is not there."""

import time

import cv2
import numpy as np
import pytest
import zxingcpp

from scanner.rescue import bars
from scanner.rescue.reading import Reading
from tests.scanner import made


def texts(picture):
    """Every text that is read in the likeliest three regions of a picture."""
    until = time.monotonic() + 60
    readings = (bars.read(picture, region, until) for region in bars.find(picture)[:3])
    return {reading.text for reading in readings if reading}


@pytest.mark.parametrize("turn", [0, 25, 45, 90, 155, 180, 225, 340])
def test_a_symbol_turned_by_any_angle_is_read(turn):
    rng = np.random.default_rng(turn)
    text = made.code(rng)
    one = made.shot("CODE128", text, rng)
    one.turn = turn
    assert texts(made.taken(one)) == {text}


@pytest.mark.parametrize(
    ("damage", "amount"),
    [
        ("module size", 0.86),
        ("defocus", 1.2),
        ("noise", 80),
        ("contrast", 10),
        ("glare", 8),
        ("cylinder", 170),
        ("cylinder", 182),
        ("perspective", 60),
    ],
)
def test_a_symbol_spoilt_beyond_what_stock_readers_bear_is_read(damage, amount):
    trials = [made.trial("CODE128", damage, amount, seed) for seed in range(3)]
    assert sum(texts(picture) == {text} for picture, text in trials) >= 2


@pytest.mark.parametrize(("characters", "is_read"), [(1, True), (4, False)])
def test_a_start_that_cannot_be_seen_is_no_loss_and_a_start_with_three_characters_is_too_much(characters, is_read):
    for seed in range(3):
        rng = np.random.default_rng(seed)
        text = made.code(rng)
        one = made.shot("CODE128", text, rng)
        left, top, _, bottom = one.box
        one.flat[top:bottom, left : left + round(characters * 11 * one.per)] = 255
        assert texts(made.taken(one)) - {""} == ({text} if is_read else set())


def there_and_read(picture):
    """What is read in the likeliest regions of a picture; an empty text where a Code 128 is surely there."""
    tried = (found for region in bars.find(picture)[:2] for found in bars.tries(picture, region))
    return {found.text for found in tried if isinstance(found, Reading)}


@pytest.mark.parametrize(("damage", "amount"), [("occlusion", 40), ("glare", 25)])
def test_a_symbol_of_which_too_much_is_gone_is_surely_there_and_not_read(damage, amount):
    there = [there_and_read(made.trial("CODE128", damage, amount, seed)[0]) for seed in range(4)]
    assert there.count({""}) >= 3


@pytest.mark.parametrize("kind", ["EAN13", "EAN8", "Code39", "Code93", "ITF", "Codabar"])
def test_bars_of_another_kind_are_not_taken_for_a_code_128_that_cannot_be_read(kind):
    text = {"EAN13": "4006381333931", "EAN8": "96385074", "ITF": "12345678901231", "Codabar": "A12345B"}.get(
        kind, "HELLO"
    )
    symbol = zxingcpp.create_barcode(text, getattr(zxingcpp.BarcodeFormat, kind))
    bars_of = np.asarray(zxingcpp.write_barcode_to_image(symbol, scale=3))
    picture = cv2.GaussianBlur(cv2.copyMakeBorder(bars_of, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=255), (0, 0), 0.8)
    assert there_and_read(picture) == set()


def test_an_empty_or_noisy_picture_has_no_regions():
    grey = np.full((240, 320), 120, np.uint8)
    noise = np.random.default_rng(1).normal(120, 20, grey.shape).clip(0, 255).astype(np.uint8)
    assert (bars.find(grey), bars.find(noise)) == ([], [])


def test_the_corners_of_a_reading_lie_on_the_symbol():
    rng = np.random.default_rng(3)
    one = made.shot("CODE128", made.code(rng), rng)
    one.turn = 30
    picture = made.taken(one)
    (region, *_) = bars.find(picture)
    corners = bars.read(picture, region, time.monotonic() + 60).corners
    along = corners[1] - corners[0]
    wide = (one.box[2] - one.box[0]) * one.pixels / one.per
    assert np.hypot(*along) == pytest.approx(wide, rel=0.02)
    assert np.degrees(np.arctan2(along[1], along[0])) == pytest.approx(30, abs=1)


def test_nothing_is_looked_for_once_the_time_is_over():
    picture, _ = made.trial("CODE128", "noise", 10, 1)
    (region, *_) = bars.find(picture)
    assert bars.read(picture, region, time.monotonic()) is None


def test_stripes_are_not_a_code():
    stripes = np.tile(np.repeat([40, 200], 4), 60).astype(np.uint8)
    picture = cv2.copyMakeBorder(np.tile(stripes, (90, 1)), 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=200)
    assert bars.find(picture)
    assert texts(picture) == set()


def test_what_a_reflection_leaves_of_a_symbol_is_not_taken_for_a_foreign_one():
    """Two frames of the legibility bench: right of the reflection pairs of digits seem to stand, check and all."""
    pictures, text = made.trembling("CODE128", "glare", 18.949694296417505, 10201, 10)
    assert set().union(*map(texts, pictures[6:8])) <= {"", text}
