"""Many frames: one scan for each showing, of the label that is meant, and nothing read twice that has not changed."""

from datetime import UTC, datetime, timedelta

import cv2
import numpy as np
import pytest

from label_templates import codes, raster, stocks
from label_templates.labels import BENCH_CARDS, LoadCard
from scanner.client import Client
from scanner.decode import Sighting, ours, read
from scanner.frames import Frame, Source
from scanner.outbox import Outbox
from scanner.steady import TWO_LABELS, Outcome, Steady
from scanner.watch import Watch
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


def test_of_two_labels_in_one_hand_only_the_one_at_the_centre_is_told_however_the_hand_moves():
    steady, outcomes = Steady(), []
    for n in range(150):
        way = 60 * np.sin(n / 15)
        outcomes += shown(steady, n / 30, (PACK, (320 + way, 240)), (LOAD, (80 + way, 70)))
    assert outcomes == [scan(PACK)]


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


def test_one_of_two_labels_that_lie_still_is_not_taken_for_alone_when_a_frame_misses_the_other():
    steady, said = Steady(), []
    for n in range(300):
        if steady.wants(n / 30, BLANK):
            said += shown(steady, n / 30, (PACK, LEFT), *([(LOAD, RIGHT)] if n < 60 else []))
    assert said == [ASK]


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


class Scene(Source):
    """The same picture for so many frames."""

    def __init__(self, picture, frames):
        self.picture, self.frames = picture, frames

    def __iter__(self):
        for index in range(self.frames):
            at = datetime(2026, 3, 4, 12, tzinfo=UTC) + timedelta(seconds=index / 30)
            yield Frame(self.picture, index, index / 30, at)


def watched(picture, frames, service, outbox):
    """What a watch says of a picture held before it: (code, verdict, headline)."""
    heard = []
    client = Client(service.url, Outbox(outbox), lambda: datetime.now(UTC))
    Watch(
        Scene(picture, frames),
        "store-1",
        client,
        lambda at, *said: heard.append((said[0], said[1].verdict, said[1].headline)),
    ).run()
    return heard


def card(number):
    return np.asarray(raster.picture(BENCH_CARDS[number], stocks.stock("roll-62x40")).convert("L"))


def test_two_cards_whose_symbols_are_side_by_side_are_asked_about_and_neither_is_posted(tmp_path, service):
    heard = watched(np.hstack([card(0), card(1)[::-1, ::-1]]), 30, service, tmp_path / "o.db")
    assert heard == [("", "ask", TWO_LABELS)]
    assert service.came == []


def test_a_card_that_lies_there_for_a_minute_is_one_scan_and_seldom_read(tmp_path, service, monkeypatch):
    looks = []
    monkeypatch.setattr("scanner.watch.read", lambda *given: looks.append(1) or read(*given))
    heard = watched(card(0), 60 * 30, service, tmp_path / "o.db")
    assert [code for code, _, _ in heard] == [BENCH_CARDS[0].code]
    assert len(looks) < 100
