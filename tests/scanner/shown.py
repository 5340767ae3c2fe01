"""Things made for the scanner's tests: labels, films of them, a stream, a watch that remembers what it heard."""

import os
import sys
import threading
import time
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import cv2
import numpy as np

from label_templates import raster, stocks
from label_templates.labels import LoadCard, Mark, PackLabel
from scanner.client import Client
from scanner.film import Film
from scanner.frames import Source, open_source
from scanner.outbox import Outbox
from scanner.watch import Also, Watch

ROLL = stocks.stock("roll-62x40")
PACK = PackLabel("P-K7-0042-0017-R", "Dental extraction A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12")
LOAD = LoadCard("L-K7-1-0331-K", "Steriliser 1")
NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


def typed_scanner(url, *more):
    """(command, environment) of a scanner of its own at wash-1 that reads what is typed, for `subprocess`."""
    command = [
        sys.executable,
        "-m",
        "service.cli",
        "scan",
        "--station",
        "wash-1",
        "--source",
        "keys",
        "--url",
        url,
        *more,
    ]
    return command, os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}


def picture(label):
    return np.asarray(raster.picture(label, ROLL).convert("L"))


def film(path, *labels, seed=3):
    made = Film(path, seed=seed)
    for label in labels:
        made.show(picture(label), label.code)
    made.empty(2)
    made.close()
    return path


class Given(Source):
    """A source that gives what it was made with."""

    def __init__(self, *given):
        self.given = given

    def __iter__(self):
        return iter(self.given)


class Heard:
    """A watch of a source, and all that was heard of it."""

    def __init__(self, source, url, outbox, clock=lambda: NOON, **more):
        self.verdicts, self.foreign, self.words, self.late = [], [], [], []
        self.outbox = Outbox(outbox)
        self.client = Client(url, self.outbox, clock)
        also = Also(words=self.words.append, foreign=lambda at, found: self.foreign.append(found))
        self.watch = Watch(source, "loading-1", self.client, self._told, also=also, **more)

    def _told(self, at, code, verdict):
        (self.verdicts if verdict.late_s is None else self.late).append((code, verdict.verdict))

    @property
    def codes(self):
        return [code for code, _ in self.verdicts]


def watch_film(path, service, outbox, pattern=None):
    source = open_source(str(path), clock=lambda n: NOON + timedelta(seconds=n / 15))
    heard = Heard(source, service.url, outbox, patient_pattern=pattern)
    heard.watch.run()
    return heard.verdicts, heard.watch


class _Mjpeg(BaseHTTPRequestHandler):
    pictures = ()

    def do_GET(self):
        self.send_response(200)
        self.send_header("Content-Type", "multipart/x-mixed-replace; boundary=frame")
        self.end_headers()
        try:
            for data in self.pictures:
                self.wfile.write(b"--frame\r\nContent-Type: image/jpeg\r\n\r\n" + data + b"\r\n")
                time.sleep(0.05)
        except OSError:
            pass

    def log_message(self, *args):
        pass


@contextmanager
def streamed(images):
    """The address of a stream that gives these pictures to whoever asks, and then ends."""
    jpegs = [cv2.imencode(".jpg", image)[1].tobytes() for image in images]
    server = ThreadingHTTPServer(("127.0.0.1", 0), type("Handler", (_Mjpeg,), {"pictures": jpegs}))
    threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}/stream"
    finally:
        server.shutdown()
        server.server_close()
