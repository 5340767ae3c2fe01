"""Two hundred labels pass before the camera at two a second, and the service is stopped for twenty seconds of it."""

from datetime import UTC, datetime, timedelta

import cv2
import numpy as np

from label_templates import codes, raster, stocks
from label_templates.labels import Mark, PackLabel
from scanner.client import Client
from scanner.frames import Frame, Source
from scanner.outbox import Outbox
from scanner.watch import Watch
from tests.service_stub import Service

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
FPS, LABELS, A_SECOND = 15, 200, 2
WIDE, TALL, PITCH, SHRUNK = 480, 200, 280, 0.5
"""Pixels: the picture, and from one label to the next on the belt. The next comes into view before the last has left."""
STOPPED_S = 40, 60


def labels():
    set_text = str(codes.set_code("K7", 42))
    texts = [str(codes.pack_code(set_text, turn)) for turn in range(1, LABELS + 1)]
    return [PackLabel(text, "Dental A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12") for text in texts]


def belt(shown):
    """The labels one behind the other on a steel belt (height × length, 8-bit grey), empty at both ends."""
    roll = stocks.stock("roll-62x40")
    strip = np.full((TALL, WIDE * 2 + PITCH * len(shown)), 120, np.uint8)
    for number, label in enumerate(shown):
        picture = np.asarray(raster.picture(label, roll).convert("L"))
        picture = cv2.resize(picture, None, fx=SHRUNK, fy=SHRUNK, interpolation=cv2.INTER_AREA)
        left, top = WIDE + PITCH * number, 10 + 3 * (number % 9)
        strip[top : top + picture.shape[0], left : left + picture.shape[1]] = picture * 0.8 + 20
    return cv2.blur(strip, (3, 1))  # the way it runs while the shutter is open


class Passing(Source):
    """A camera over that belt. Its time is that of its frames; `at` hears of each before it is taken."""

    fps = float(FPS)

    def __init__(self, strip, at):
        self._strip, self._at = strip, at
        rng = np.random.default_rng(7)
        self._noise = [rng.normal(0, 4, (TALL, WIDE)).astype(np.int16) for _ in range(5)]

    def __iter__(self):
        step = PITCH * A_SECOND / FPS
        for index in range(int((self._strip.shape[1] - WIDE) / step)):
            self._at(index / FPS)
            left = round(index * step)
            grey = cv2.add(self._strip[:, left : left + WIDE], self._noise[index % 5], dtype=cv2.CV_8U)
            image = cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR)
            yield Frame(image, index, index / FPS, NOON + timedelta(seconds=index / FPS))


def test_two_hundred_labels_passing_at_two_a_second_are_two_hundred_scans_though_the_service_stops_for_twenty_seconds(
    tmp_path,
):
    services, heard, shown = [Service()], [], labels()

    def stop_and_start(at_s):
        if at_s == STOPPED_S[0]:
            services[0].close()
        elif at_s == STOPPED_S[1]:
            services.append(Service(services[0].port))

    outbox = Outbox(tmp_path / "out.db")
    client = Client(services[0].url, outbox, lambda: NOON)
    source = Passing(belt(shown), stop_and_start)
    watch = Watch(source, "loading-1", client, lambda at, code, verdict: heard.append((at, code, verdict.verdict)))
    watch.run()
    client.send_waiting()
    came = [body for service in services for body in service.came]
    services[1].close()

    wanted = [label.code for label in shown]
    assert list(dict.fromkeys(code for _, code, _ in heard)) == wanted
    assert [body["code"] for body in came] == wanted
    assert len({body["id"] for body in came}) == LABELS
    assert outbox.waiting() == []
    unanswered = [at for at, _, verdict in heard if verdict == "not checked"]
    away = STOPPED_S[1] - STOPPED_S[0]
    assert abs(len(unanswered) - away * A_SECOND) <= 1
    assert timedelta(seconds=away - 1) < unanswered[-1] - unanswered[0] < timedelta(seconds=away)
