"""Several frames of one label laid over each other: what none of them shows is read in the picture they make together."""

import numpy as np
import pytest
import zxingcpp

from scanner.decode import Sighting, read
from scanner.fuse import Stack
from scanner.steady import Outcome, Steady
from tests.scanner import made


def stock(picture):
    """What stock zxing-cpp reads."""
    kinds = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)
    return [
        Sighting(found.text, "QR", region(picture), "zxing") for found in zxingcpp.read_barcodes(picture, formats=kinds)
    ]


def texts(picture):
    return {seen.text for seen in stock(picture)}


def region(picture, share=0.16):
    """Corners of the middle of a picture: about where a symbol of the made corpus lies."""
    tall, wide = picture.shape
    low, high = share, 1 - share
    return np.array([[low, low], [high, low], [high, high], [low, high]]) * (wide, tall)


def fused(pictures):
    """The texts read in the picture that these make together."""
    stack = Stack()
    for picture in pictures:
        stack.add(picture, region(picture))
    return {text for picture in stack.pictures() for text in texts(picture)}


@pytest.mark.parametrize(("symbology", "steps"), [("QR", (24, 34, 48, 68)), ("CODE128", (10, 14, 20, 28))])
def test_five_frames_read_together_bear_two_and_a_half_times_the_noise_of_one(symbology, steps):
    trials = 6

    def share_alone(noise):
        taken = [made.frames(symbology, "noise", noise, seed, 1) for seed in range(trials)]
        return np.mean([text in texts(picture) for (picture,), text in taken])

    shares = [share_alone(noise) for noise in steps]
    half = np.interp(-0.5, -np.array(shares), steps)
    assert shares[0] > 0.5 > shares[-1]
    taken = [made.frames(symbology, "noise", 2.5 * half, seed, 5) for seed in range(trials)]
    assert np.mean([text in fused(pictures) for pictures, text in taken]) > 0.5


@pytest.mark.parametrize(("symbology", "noise"), [("QR", 80), ("CODE128", 35)])
def test_a_label_too_noisy_for_any_single_frame_is_told_from_two_handfuls_of_them(symbology, noise):
    pictures, text = made.frames(symbology, "noise", noise, 3, 16)
    assert not any(texts(picture) for picture in pictures)
    steady, looks = Steady(read=stock), []
    for n, picture in enumerate(pictures):
        corners = np.roll(region(picture), n, axis=0) + np.array([n % 3, -n % 2])
        looks.append(steady.feed(n / 30, picture, [], [corners]))
    assert [one for outcomes in looks for one in outcomes] == [Outcome("scan", code=text)]
    assert looks[:5] == [[]] * 5


def burnt(picture, start):
    """The picture with a lamp's reflection over two fifths of it, from this share of its width."""
    picture, wide = picture.copy(), picture.shape[1]
    picture[:, int(start * wide) : int((start + 0.4) * wide)] = 255
    return picture


def test_glare_that_moves_over_a_label_is_filled_from_the_frame_it_has_left():
    pictures, text = made.frames("QR", "noise", 3, 5, 5)
    wandering = [burnt(picture, 0.1 + 0.1 * n) for n, picture in enumerate(pictures)]
    assert not any(texts(picture) for picture in wandering)
    assert text in fused(wandering)
    assert text not in fused([burnt(picture, 0.3) for picture in pictures])
    stack, clear = Stack(), Stack()
    for picture, glaring in zip(pictures, wandering, strict=True):
        clear.add(picture, region(picture))
        assert stack.add(glaring, region(picture))
    assert np.abs(stack.fused() - clear.fused()).mean() < 25


def test_the_second_read_that_a_region_wants_is_of_frames_that_the_first_had_not():
    pictures, text = made.frames("QR", "noise", 3, 5, 1)
    seen = Sighting(text, "QR", region(pictures[0]), "a reader")
    steady = Steady(read=lambda picture: [seen])
    told_at = [n for n in range(12) if steady.feed(n / 30, pictures[0], [], [region(pictures[0])])]
    assert told_at == [7]


def test_a_region_of_something_else_begins_a_stack_of_its_own():
    (one,), _ = made.frames("QR", "noise", 3, 1, 1)
    flat = np.full_like(one, 120)
    flat[::7] = 200
    stack = Stack()
    assert stack.add(one, region(one))
    assert not stack.add(flat, region(flat))
    assert stack.add(one, region(one))
    assert len(stack.crops) == 2


def test_what_is_read_in_a_fused_picture_lies_where_it_lies_in_the_newest_frame():
    pictures, text = made.frames("QR", "noise", 3, 1, 3)
    stack = Stack()
    for picture in pictures:
        stack.add(picture, region(picture))
    (seen,) = (seen for seen in read(stack.pictures()[0]) if seen.text == text)
    (alone,) = read(pictures[-1])
    assert np.abs(stack.in_frame(seen.corners).mean(axis=0) - alone.corners.mean(axis=0)).max() < 1.5
