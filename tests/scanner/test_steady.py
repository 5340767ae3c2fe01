"""Many frames: one scan for each showing, of the label that is meant; several frames read together; a word where none is read."""

import cv2
import numpy as np
import pytest

from label_templates import codes, raster, stocks, symbols
from label_templates.designs import BENCH_CARDS, LoadCard
from scanner import hints
from scanner.decode import Sighting, ours, read
from scanner.fuse import Stack
from scanner.steady import TWO_LABELS, Outcome, Steady
from tests.scanner import made

PACK, LOAD, OTHER = "P-K7-0042-0017-R", "L-K7-1-0331-K", str(codes.pack_code("S-K7-0042-*", 18))
BLANK = np.full((480, 640), 128, np.uint8)
CENTRE, LEFT, RIGHT, SIDE = (320, 240), (170, 240), (470, 240), (80, 70)


def sighting(text, at=CENTRE, *, symbology="QR", how="zxing", clean=False):
    corners = np.array([[-40, -40], [40, -40], [40, 40], [-40, 40]], float) + at
    return Sighting(text, symbology, corners, how, clean)


def shown(steady, at_s, *labels):
    """The outcomes of one frame that shows these labels: a code, or a code and its place."""
    labels = [(label, CENTRE) if isinstance(label, str) else label for label in labels]
    return steady.feed(at_s, BLANK, [sighting(*label) for label in labels])


def told(steady, frames, *labels, begin=0.0):
    """What is told over so many frames, 30 a second."""
    return [outcome for n in range(frames) for outcome in shown(steady, begin + n / 30, *labels)]


def scan(code):
    return Outcome("scan", code=code)


ASK = Outcome("ask", words=TWO_LABELS)


def test_a_code_is_believed_only_when_two_frames_agree():
    steady = Steady()
    assert shown(steady, 0.0, PACK) == []
    assert shown(steady, 0.1, PACK) == [scan(PACK)]


def test_a_label_held_still_is_told_once():
    assert told(Steady(), 100, PACK) == [scan(PACK)]


def test_a_label_out_of_view_for_less_than_the_gap_is_the_same_showing():
    steady = Steady()
    told(steady, 2, PACK)
    assert shown(steady, 0.8, PACK) == []
    assert shown(steady, 0.9, PACK) == []


def test_a_label_shown_again_after_the_gap_is_told_again():
    steady = Steady()
    assert told(steady, 2, PACK) == [scan(PACK)]
    assert shown(steady, 1.5, PACK) == []
    assert shown(steady, 1.6, PACK) == [scan(PACK)]


def test_two_frames_too_far_apart_do_not_agree():
    steady = Steady()
    shown(steady, 0, PACK)
    assert shown(steady, 5, PACK) == []


def test_time_that_goes_back_forgets_what_was_seen():
    steady = Steady()
    shown(steady, 10, PACK)
    assert shown(steady, 1, PACK) == []
    assert shown(steady, 1.1, PACK) == [scan(PACK)]


@pytest.mark.parametrize("text", ["P-K7-0042-0017-X", "https://example.org", "hello"])
def test_a_text_whose_check_fails_is_never_told_however_often_it_is_read(text):
    assert told(Steady(), 30, text) == []


def test_both_symbols_of_one_label_agree_in_one_frame_and_so_do_two_readers():
    for other in (sighting(LOAD, symbology="CODE128"), sighting(LOAD, how="zbar")):
        assert Steady().feed(0, BLANK, [sighting(LOAD), other]) == [scan(LOAD)]
    assert Steady().feed(0, BLANK, [sighting(LOAD), sighting(LOAD)]) == []


def test_a_qr_code_read_with_no_error_corrected_needs_no_second_frame():
    assert Steady().feed(0, BLANK, [sighting(PACK, clean=True)]) == [scan(PACK)]


def test_a_wristband_has_no_check_of_ours_and_wants_two_frames_however_it_is_read():
    steady = Steady(lambda seen: ours(seen, r"PAT-\d{5}"))
    band = [sighting("PAT-12345", clean=True), sighting("PAT-12345", symbology="CODE128")]
    assert steady.feed(0, BLANK, band) == []
    assert steady.feed(0.1, BLANK, band) == [scan("PAT-12345")]


def test_of_two_labels_that_come_together_the_one_at_the_centre_is_told_and_the_other_waits_to_be_moved():
    steady = Steady()
    assert told(steady, 60, PACK, (LOAD, SIDE)) == [scan(PACK)]
    assert told(steady, 60, (LOAD, SIDE), begin=2.0) == []
    assert told(steady, 60, (LOAD, CENTRE), begin=4.0) == [scan(LOAD)]


def test_two_labels_as_near_to_the_centre_as_each_other_are_asked_about_once_and_the_one_left_is_told():
    steady = Steady()
    assert told(steady, 60, (PACK, LEFT), (LOAD, RIGHT)) == [ASK]
    assert told(steady, 60, (LOAD, RIGHT), begin=2.0) == [scan(LOAD)]


def test_a_label_moved_in_while_another_lies_at_the_side_or_in_the_middle_is_told():
    for lying, coming in ((SIDE, CENTRE), (CENTRE, LEFT)):
        steady = Steady()
        assert told(steady, 30, (PACK, lying)) == [scan(PACK)]
        assert told(steady, 30, (PACK, lying), (LOAD, coming), begin=1.0) == [scan(LOAD)]


def test_the_label_that_is_still_is_meant_not_the_one_that_is_waved_about():
    steady, outcomes = Steady(), []
    for n in range(60):
        outcomes += shown(steady, n / 30, (PACK, SIDE), (LOAD, (320 + 120 * (-1) ** (n // 3), 240)))
    assert outcomes[0] == scan(PACK)


def test_a_label_alone_is_told_while_it_moves():
    steady = Steady()
    outcomes = [one for n in range(8) for one in shown(steady, n / 30, (PACK, (40 + 70 * n, 240)))]
    assert outcomes == [scan(PACK)]


def test_every_bench_card_is_told_beside_the_pack_it_speaks_of():
    steady = Steady()
    told(steady, 30, PACK)
    for number, card in enumerate(BENCH_CARDS, 1):
        assert told(steady, 20, PACK, (card.code, LEFT), begin=number) == [scan(card.code)]


def test_a_load_card_s_two_symbols_are_one_label():
    picture = np.asarray(raster.picture(LoadCard(LOAD, "Steriliser 1"), stocks.stock("roll-62x40")).convert("L"))
    found = {seen.symbology: seen for seen in read(picture)}
    for one, other in (("QR", "CODE128"), ("CODE128", "QR")):
        steady, outcomes = Steady(), []
        for n in range(60):
            seen = [found[one]]
            outcomes += steady.feed(n / 30, picture, seen, [found[other].corners])
        assert outcomes == [scan(LOAD)]


def test_a_still_picture_is_not_read_again_and_what_lies_there_stays_in_view():
    steady, read_at = Steady(), []
    rng = np.random.default_rng(4)
    noisy = [np.clip(BLANK + rng.normal(0, 6, BLANK.shape), 0, 255).astype(np.uint8) for _ in range(7)]
    for n in range(300):
        if steady.wants(n / 30, noisy[n % 7]):
            read_at.append(n / 30)
            outcomes = shown(steady, n / 30, PACK)
            assert outcomes == ([scan(PACK)] if n == 1 else [])
    assert 3 <= sum(at > 2 for at in read_at) <= 4
    label = BLANK.copy()
    label[200:280, 280:360] = 255
    assert steady.wants(10.0, label)


def test_a_change_of_light_everywhere_is_no_change_and_a_code_changed_is_one():
    steady = Steady()
    picture, other = (
        cv2.copyMakeBorder(made.trial("QR", "noise", 3, seed)[0], 60, 60, 60, 60, cv2.BORDER_REPLICATE)
        for seed in (1, 2)
    )
    other = cv2.resize(other, picture.shape[::-1])
    assert [steady.wants(n / 30, picture) for n in range(60)].count(True) < 50
    assert not steady.wants(2.01, picture - np.uint8(3))
    assert steady.wants(2.02, other)


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
    return {seen.text for picture in stack.pictures() for seen in read(picture)}


@pytest.mark.parametrize(("symbology", "steps"), [("QR", (24, 34, 48, 68)), ("CODE128", (10, 14, 20, 28))])
def test_five_frames_read_together_bear_two_and_a_half_times_the_noise_of_one(symbology, steps):
    trials = 6

    def share_alone(noise):
        taken = [made.frames(symbology, "noise", noise, seed, 1) for seed in range(trials)]
        return np.mean([text in {seen.text for seen in read(picture)} for (picture,), text in taken])

    shares = [share_alone(noise) for noise in steps]
    half = np.interp(-0.5, -np.array(shares), steps)
    assert shares[0] > 0.5 > shares[-1]
    taken = [made.frames(symbology, "noise", 2.5 * half, seed, 5) for seed in range(trials)]
    assert np.mean([text in fused(pictures) for pictures, text in taken]) > 0.5


@pytest.mark.parametrize(("symbology", "noise"), [("QR", 80), ("CODE128", 35)])
def test_a_label_too_noisy_for_any_single_frame_is_told_from_two_handfuls_of_them(symbology, noise):
    pictures, text = made.frames(symbology, "noise", noise, 3, 16)
    assert not any(read(picture, 0) for picture in pictures)
    steady, looks = Steady(), []
    for n, picture in enumerate(pictures):
        corners = np.roll(region(picture), n, axis=0) + np.array([n % 3, -n % 2])
        looks.append(steady.feed(n / 30, picture, [], [corners]))
    assert [one for outcomes in looks for one in outcomes] == [scan(text)]
    assert looks[:5] == [[]] * 5


def glaring(picture, at):
    """The picture with a lamp's reflection at this share of its width."""
    picture = picture.copy()
    tall, wide = picture.shape
    cv2.ellipse(picture, (int(at * wide), tall // 2), (wide // 9, tall // 3), 0, 0, 360, 255, -1)
    return picture


def test_glare_that_moves_over_a_label_is_filled_from_the_frames_it_has_left():
    pictures, text = made.frames("QR", "noise", 3, 5, 5)
    wandering = [glaring(picture, 0.3 + 0.1 * n) for n, picture in enumerate(pictures)]
    staying = [glaring(picture, 0.5) for picture in pictures]
    assert not any(seen.text == text for picture in wandering for seen in read(picture))
    assert text in fused(wandering)
    assert text not in fused(staying)


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
