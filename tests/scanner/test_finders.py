"""Finder patterns by their outlines, and where the whole symbol lies when only some of them are seen."""

import cv2
import numpy as np
import pytest

from scanner.rescue.finders import finders, squares_of
from tests.scanner import made

SIDE = 21


def turned(turn, lean=0.0):
    """A clean symbol turned and leaning, and its corners in the picture (4 × 2) as OpenCV's own detector gives them."""
    rng = np.random.default_rng(int(turn))
    one = made.shot("QR", made.code(rng), rng)
    one.turn, one.lean = turn, lean
    picture = made.taken(one)
    found, corners = cv2.QRCodeDetector().detect(picture)
    assert found
    return picture, corners[0].astype(float)


def without(picture, corners, *places):
    """The picture with a grey thing over these corners of the symbol."""
    picture = picture.copy()
    for place in places:
        middle = corners[place] + (corners[place - 2] - corners[place]) / 6
        cv2.circle(picture, tuple(map(int, middle)), int(0.25 * np.linalg.norm(corners[1] - corners[0])), 120, -1)
    return picture


def off(square, corners):
    """Modules by which a square's corners, in the turn that suits best, lie off these."""
    apart = min(np.abs(np.roll(square, turn, axis=0) - corners).max() for turn in range(4))
    return apart / np.linalg.norm(corners[1] - corners[0]) * SIDE


@pytest.mark.parametrize("turn", [0, 17, 45, 80, 133, 200, 290])
def test_the_three_finder_patterns_of_a_symbol_in_any_turn_are_found(turn):
    picture, corners = turned(turn)
    found = finders(picture)
    assert len(found) == 3
    assert all(one.module() == pytest.approx(made.PIXELS["QR"], rel=0.06) for one in found)
    across, down = (corners[1] - corners[0]) / SIDE, (corners[3] - corners[0]) / SIDE
    wanted = [corners[0] + x * across + y * down for x, y in ((3.5, 3.5), (17.5, 3.5), (3.5, 17.5))]
    assert all(min(np.abs(one.middle - place).max() for one in found) < 2 for place in wanted)


@pytest.mark.parametrize("turn", [0, 30, 160])
@pytest.mark.parametrize("hidden", [(), (0,), (1,), (3,)])
def test_the_symbol_lies_where_two_or_three_finder_patterns_say(turn, hidden):
    picture, corners = turned(turn)
    squares = squares_of(finders(without(picture, corners, *hidden)))
    assert min(off(square, corners) for square in squares) < 1
    if not hidden:
        assert off(squares[0], corners) < 1


@pytest.mark.parametrize("hidden", [(0, 1), (0, 3), (1, 3)])
def test_one_finder_pattern_alone_says_four_places_of_which_one_is_right(hidden):
    picture, corners = turned(10)
    squares = squares_of(finders(without(picture, corners, *hidden)))
    assert len(squares) == 4
    assert sorted(off(square, corners) < 2 for square in squares) == [False, False, False, True]


def test_a_leaning_symbol_is_found_too():
    picture, corners = turned(5, lean=25)
    assert min(off(square, corners) for square in squares_of(finders(picture))) < 3


def test_a_picture_of_many_pixels_is_looked_at_smaller():
    picture, corners = turned(30)
    large = cv2.resize(picture, None, fx=17, fy=17)
    assert off(squares_of(finders(large))[0], 17 * corners) < 1


def test_bars_noise_and_an_even_picture_have_none():
    bars, _ = made.turned(20)
    noise = np.random.default_rng(1).normal(120, 40, (400, 400)).clip(0, 255).astype(np.uint8)
    for picture in (bars, noise, np.full((90, 90), 200, np.uint8), np.full((1, 1), 3, np.uint8)):
        assert squares_of(finders(picture)) == []
