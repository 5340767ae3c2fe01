"""Eight hours before a bench camera, as fast as they can be read: 720p at five frames a second, a label every two minutes."""

import multiprocessing
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np

from label_templates import raster, stocks
from label_templates.labels import BENCH_CARDS
from scanner.client import Client
from scanner.film import Film
from scanner.frames import Frame, Source, open_source
from scanner.outbox import Outbox
from scanner.watch import Watch
from tests.bench.rows import row
from tests.service_stub import Service

HOURS, FPS, BETWEEN_S = 8, 5, 120
SETTLED_S = 600
MOST_MB = 200


class Day(Source):
    """The bench, empty but for a label every two minutes. `at` hears each frame's seconds."""

    fps = 30.0  # a frame may cost what a webcam's may

    def __init__(self, showing, at):
        self.showing, self.at = showing, at

    def __iter__(self):
        noon = datetime(2026, 3, 4, 6, tzinfo=UTC)
        empty = self.showing[-2:]
        for index in range(HOURS * 3600 * FPS):
            self.at(index / FPS)
            since = index % (BETWEEN_S * FPS)
            image = self.showing[since] if since < len(self.showing) else empty[index % 2]
            yield Frame(image, index, index / FPS, noon + timedelta(seconds=index / FPS))


def resident():
    """Resident memory of this process, in MB."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))


def day(film, url, outbox):
    """(MB once settled, MB at the end, scans) of a scanner that has a day before its camera."""
    showing = [cv2.cvtColor(frame.image, cv2.COLOR_BGR2GRAY) for frame in open_source(str(film))]
    settled = []

    def at(at_s):
        if at_s == SETTLED_S:
            settled.append(resident())

    client = Client(url, Outbox(outbox), lambda: datetime.now(UTC))
    watch = Watch(Day(showing, at), "store-1", client, lambda *told: None)
    watch.run()
    return settled[0], resident(), watch.counts.scans


def run():
    card = BENCH_CARDS[0]
    with TemporaryDirectory() as place:
        folder = Path(place)
        film = Film(folder / "f.avi", fps=FPS, size=(1280, 720))
        film.show(np.asarray(raster.picture(card, stocks.stock("roll-62x40")).convert("L")), card.code)
        film.close()
        service = Service()
        with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as child:
            settled, end, scans = child.submit(day, folder / "f.avi", service.url, folder / "o.db").result()
        service.close()
    assert scans == HOURS * 3600 // BETWEEN_S
    flat = end <= MOST_MB and end <= 1.05 * settled
    return [
        row(
            "memory after 8 simulated hours, beside after ten minutes",
            end,
            settled,
            "MB",
            "<= 200 MB, <= 1.05 x",
            flat,
        )
    ]
