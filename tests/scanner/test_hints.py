"""Hints: what the hand can do about a symbol that is seen and not read."""

import cv2
import numpy as np
import pytest

from label_templates import symbols
from scanner import hints
from scanner.decode import look
from scanner.steady import Outcome, Steady
from tests.scanner import made

PACK = "P-K7-0042-0017-R"


def printed(symbology, pixels=4):
    """A symbol of so many pixels a module, flat and clean, and its corners."""
    symbol = symbols.qr(PACK) if symbology == "QR" else symbols.code128(PACK)
    grid = np.kron(np.array(symbol.modules, bool), np.ones((pixels if symbology == "QR" else 40, pixels), bool))
    edge = 30
    tall, wide = grid.shape
    picture = cv2.GaussianBlur(np.where(np.pad(grid, edge), made.INK, made.PAPER).astype(np.uint8), (0, 0), 0.6)
    return picture, np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], float) + edge


def leaning(picture, corners):
    seen = corners.copy()
    seen[1] += (-6, 22)
    seen[2] += (-6, -22)
    onto = cv2.getPerspectiveTransform(corners.astype(np.float32), seen.astype(np.float32))
    return cv2.warpPerspective(picture, onto, picture.shape[::-1], borderValue=200), seen


def smeared(picture):
    return cv2.filter2D(picture, -1, np.full((1, 11), 1 / 11))


def burnt(picture):
    picture = picture.copy()
    picture[:, int(picture.shape[1] * 0.4) : int(picture.shape[1] * 0.5)] = 255
    return picture


def noisy(picture):
    return np.clip(picture + np.random.default_rng(1).normal(0, 40, picture.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("symbology", ["QR", "CODE128"])
@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda picture, corners: (burnt(picture), corners), hints.GLARE),
        (lambda picture, corners: ((picture // 12 + 20).astype(np.uint8), corners), hints.LIGHT),
        (lambda picture, corners: (noisy(picture), corners), hints.LIGHT),
        (lambda picture, corners: (smeared(picture), corners), hints.STILL),
        (lambda picture, corners: (cv2.GaussianBlur(picture, (0, 0), 5), corners), hints.STILL),
        (leaning, hints.FLATTER),
        (lambda picture, corners: (picture, corners), hints.FLATTER),
    ],
    ids=["burnt out", "faint", "noisy", "moving", "out of focus", "leaning", "nothing measured"],
)
def test_a_hint_says_what_the_hand_can_do(symbology, spoil, words):
    picture, corners = printed(symbology)
    assert hints.hint(*spoil(picture, corners)) == words


@pytest.mark.parametrize("symbology", ["QR", "CODE128"])
def test_a_symbol_of_few_pixels_a_module_wants_to_come_closer(symbology):
    assert hints.hint(*printed(symbology, 1)) == hints.CLOSER
    assert hints.hint(*printed(symbology, 2)) != hints.CLOSER


def test_a_region_that_no_frame_reads_is_told_of_once_with_a_hint_and_again_when_it_is_shown_again():
    picture, corners = printed("QR")
    picture = smeared(picture)
    steady, said = Steady(read=lambda picture: []), []
    for at_s in (*np.arange(0, 3, 0.125), *np.arange(5, 8, 0.125)):
        said += [(at_s, one) for one in steady.feed(at_s, picture, [], [corners + at_s % 1])]
    hint = Outcome("unread", words=hints.STILL)
    assert said == [(1.0, hint), (6.0, hint)]


def test_a_region_seen_for_less_than_a_second_is_not_told_of():
    picture, corners = printed("QR")
    steady = Steady(read=lambda picture: [])
    assert [one for n in range(9) for one in steady.feed(n / 10, picture, [], [corners])] == []


def test_an_unread_region_lies_still_without_being_told_of_twice():
    picture, corners = printed("QR")
    steady, said = Steady(read=lambda picture: []), []
    for n in range(200):
        moved = picture if n < 150 else np.roll(picture, 2, axis=0)
        if steady.wants(n / 30, moved):
            said += steady.feed(n / 30, moved, [], [corners])
    assert said == [Outcome("unread", words=hints.FLATTER)]


def test_bars_that_no_reader_reads_are_told_of_too():
    picture, _ = made.trial("CODE128", "glare", 25, 1)
    steady, said = Steady(), []
    for n in range(11):
        seen = look(picture, 0.2)
        assert seen.sightings == []
        said += steady.feed(n / 8, picture, [], seen.unread)
    assert said == [Outcome("unread", words=hints.GLARE)]
