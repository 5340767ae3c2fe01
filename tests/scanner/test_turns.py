"""Rescue in turns: no region of a picture keeps the others waiting for long."""

import itertools

import cv2
import numpy as np
import pytest

from scanner import decode
from scanner.rescue.reading import Going
from tests.scanner import made


def test_two_regions_are_tried_in_turns_from_the_start_and_one_more_now_and_then():
    works = (itertools.repeat(None, 20) for _ in range(3))
    order = [place for place, _ in decode._in_turns(works)]
    assert [order.count(place) for place in range(3)] == [20, 20, 20]
    assert order[:5] == [0, 0, 1, 0, 1]
    assert order.index(2) < 20


def test_a_region_that_is_done_makes_room_for_the_next():
    works = (iter([None]) for _ in range(4))
    assert [place for place, _ in decode._in_turns(works)] == [0, 1, 2, 3]


class Clock:
    """A clock that goes on by a millisecond whenever it is asked, and how often that was."""

    def __init__(self):
        self.asked = 0

    def monotonic(self):
        self.asked += 1
        return (self.asked - 0.5) / 1000


@pytest.mark.parametrize(("gives", "steps"), [(Going.ON, 42), (None, 30)])
def test_a_try_in_the_midst_may_end_a_little_later_and_no_other_is_begun(gives, steps, monkeypatch):
    clock = Clock()
    monkeypatch.setattr(decode, "time", clock)
    monkeypatch.setattr(decode, "_likely", lambda grey, unread: iter([("QR", None, None)]))
    monkeypatch.setattr(decode, "_tried", lambda *_: itertools.repeat(gives))
    assert decode._rescued(np.zeros((9, 9), np.uint8), [], 0.030) == decode.Seen([], [])
    assert clock.asked == steps + 1


def test_a_faded_label_is_read_beside_stripes_that_look_more_like_a_code():
    label, text = made.trial("CODE128", "contrast", 12, 4)
    stripes = np.tile(np.repeat([40, 200], 4), label.shape[1] // 8 + 1)[: label.shape[1]].astype(np.uint8)
    beside = cv2.copyMakeBorder(np.tile(stripes, (150, 1)), 60, 60, 0, 0, cv2.BORDER_CONSTANT, value=200)
    picture = np.vstack([beside, label])
    assert [seen.text for seen in decode.read(picture, 0)] == []
    assert [seen.text for seen in decode.read(picture, 60)] == [text]
