"""The scanner: one scan for each showing, nothing unchecked posted, nothing lost while the service is away."""

import json
import os
import threading
import time
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from label_templates import raster, stocks
from label_templates.designs import BENCH_CARDS, LoadCard, Mark, PackLabel
from scanner import decode
from scanner.client import Client
from scanner.decode import Sighting, ours, read
from scanner.film import Film, FilmError
from scanner.frames import SourceError, open_source
from scanner.outbox import Outbox
from scanner.sound import TONES, Sound, wav
from scanner.watch import Watch
from service.cli.scan import scan as scan_command

ROLL = stocks.stock("roll-62x40")
PACK = PackLabel("P-K7-0042-0017-R", "Dental extraction A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12")
LOAD = LoadCard("L-K7-1-0331-K", "Steriliser 1")
NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


def picture(label):
    return np.asarray(raster.picture(label, ROLL).convert("L"))


def film(path, *labels, seed=3):
    made = Film(path, seed=seed)
    for label in labels:
        made.show(picture(label), label.code)
    made.empty(2)
    made.close()
    return path


def sighting(text):
    return Sighting(text, "QR", np.zeros((4, 2)), "zxing")


def watch_film(path, service, outbox, pattern=None):
    heard = []
    source = open_source(str(path), clock=lambda n: NOON + timedelta(seconds=n / 15))
    client = Client(service.url, Outbox(outbox), lambda: NOON)
    watch = Watch(
        source,
        "loading-1",
        client,
        lambda at, code, verdict: heard.append((code, verdict.verdict)),
        patient_pattern=pattern,
    )
    watch.run()
    return heard, watch


def test_every_label_shown_becomes_one_scan_in_the_order_shown(tmp_path, service):
    labels = [LOAD, PACK, *BENCH_CARDS[:6], PACK, PACK]
    heard, watch = watch_film(film(tmp_path / "day.avi", *labels), service, tmp_path / "out.db")
    assert [code for code, _ in heard] == [label.code for label in labels]
    assert [body["code"] for body in service.came] == [label.code for label in labels]
    assert len({body["id"] for body in service.came}) == len(labels)
    assert watch.counts.scans == watch.counts.answered == len(labels)
    assert all(body["seen_at"].startswith("2026-03-04T12:00") for body in service.came)


@pytest.mark.parametrize(
    "text", ["P-K7-0042-0017-X", "https://example.org", "", "hello", "P-K7-0042-0017", "p-k7-0042-0017-r"]
)
def test_what_fails_the_check_goes_no_further(text):
    assert ours(sighting(text)) is None


def test_a_wristband_of_the_sites_pattern_goes_through():
    assert ours(sighting("PAT-12345"), r"PAT-\d{5}") == "PAT-12345"
    assert ours(sighting("PAT-1234"), r"PAT-\d{5}") is None
    assert ours(sighting("P-K7-0042-0017-R"), r"PAT-\d{5}").letter == "P"


def test_reading_a_clean_label_gives_text_symbology_corners_and_how():
    found = {(s.text, s.symbology, s.how) for s in read(picture(LOAD))}
    assert found == {("L-K7-1-0331-K", "QR", "zxing"), ("L-K7-1-0331-K", "CODE128", "zxing")}
    assert all(s.corners.shape == (4, 2) for s in read(picture(LOAD)))


def test_an_empty_picture_gives_nothing_and_a_wrong_array_is_refused():
    assert read(np.full((400, 600, 3), 128, np.uint8)) == []
    for wrong in (np.zeros((4, 4), float), np.zeros((4, 4, 4), np.uint8), np.zeros(4, np.uint8)):
        with pytest.raises(ValueError, match="a picture is"):
            read(wrong)


def test_the_second_opinion_is_asked_only_within_the_budget(monkeypatch):
    asked = []

    class Zbar:
        class ZBarSymbol:
            QRCODE, CODE128 = 64, 128

        @staticmethod
        def decode(image, symbols):
            asked.append(image.shape)
            return []

    monkeypatch.setattr(decode, "zbar", Zbar)
    blank = np.full((720, 1280), 128, np.uint8)
    assert read(blank, 0.0) == []
    assert asked == []
    assert read(blank, None) == []
    assert asked == [(720, 1280)]
    read(picture(PACK), None)
    assert len(asked) == 1


def test_without_libzbar_reading_goes_on(monkeypatch):
    monkeypatch.setattr(decode, "zbar", None)
    assert not decode.second_opinion()
    assert read(np.full((40, 60), 128, np.uint8)) == []
    assert {s.text for s in read(picture(PACK))} == {PACK.code}


def test_zbar_reads_what_it_is_given(monkeypatch):
    if not decode.second_opinion():
        pytest.skip("libzbar is not installed")
    monkeypatch.setattr(decode.zxingcpp, "read_barcodes", lambda *a, **k: [])
    found = read(cv2.cvtColor(picture(LOAD), cv2.COLOR_GRAY2BGR))
    assert {(s.text, s.how) for s in found} == {(LOAD.code, "zbar")}


def test_a_label_that_only_the_second_opinion_reads_is_scanned_from_a_feed(tmp_path, service, monkeypatch):
    if not decode.second_opinion():
        pytest.skip("libzbar is not installed")
    monkeypatch.setattr(decode.zxingcpp, "read_barcodes", lambda *a, **k: [])
    scene = np.full((720, 1280, 3), 150, np.uint8)
    scene[200:520, 400:896] = picture(PACK)[..., None]
    writer = cv2.VideoWriter(str(tmp_path / "f.avi"), cv2.VideoWriter.fourcc(*"MJPG"), 30, (1280, 720))
    for _ in range(12):
        writer.write(scene)
    writer.release()
    heard, _ = watch_film(tmp_path / "f.avi", service, tmp_path / "o.db")
    assert [code for code, _ in heard] == [PACK.code]


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: p / "nowhere.avi", "there is no"),
        (lambda p: _made(p / "empty.avi", b""), "is empty"),
        (lambda p: _made(p / "corrupt.avi", os.urandom(5000)), "is not a video"),
        (lambda p: p / "folder", "holds no pictures"),
        (lambda p: "93", "camera 93 is not there"),
    ],
)  # fmt: skip
def test_a_source_that_gives_no_pictures_says_why_in_one_line(tmp_path, make, words):
    (tmp_path / "folder").mkdir()
    with pytest.raises(SourceError, match=words) as caught:
        open_source(str(make(tmp_path)))
    assert "\n" not in str(caught.value)


def _made(path, data):
    path.write_bytes(data)
    return path


def test_a_video_cut_off_in_the_middle_gives_the_frames_it_has(tmp_path):
    whole = film(tmp_path / "whole.avi", PACK, LOAD).read_bytes()
    cut = _made(tmp_path / "cut.avi", whole[: len(whole) // 2])
    frames = list(open_source(str(cut)))
    assert 0 < len(frames) < 30


def test_a_folder_of_pictures_is_read_in_the_order_of_names(tmp_path, service):
    folder = tmp_path / "pictures"
    folder.mkdir()
    for name, label in (("b.png", LOAD), ("a.png", PACK)):
        raster.write_png(label, ROLL, folder / name)
    (folder / "notes.txt").write_text("no picture")
    heard, _ = watch_film(folder, service, tmp_path / "out.db")
    assert [code for code, _ in heard] == [PACK.code, LOAD.code]


def test_a_broken_picture_in_a_folder_is_named(tmp_path):
    (tmp_path / "a.png").write_bytes(b"no png")
    with pytest.raises(SourceError, match=r"a\.png is not a picture"):
        list(open_source(str(tmp_path)))


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


def test_an_mjpeg_stream_is_read(tmp_path, service):
    frames = [frame.image for frame in open_source(str(film(tmp_path / "f.avi", LOAD, PACK)))]
    jpegs = [cv2.imencode(".jpg", image)[1].tobytes() for image in frames]
    handler = type("Handler", (_Mjpeg,), {"pictures": jpegs})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    heard = []
    try:
        source = open_source(f"http://127.0.0.1:{server.server_address[1]}/stream")
        client = Client(service.url, Outbox(tmp_path / "out.db"), lambda: NOON)
        watch = Watch(source, "loading-1", client, lambda at, code, verdict: heard.append(code))
        with pytest.raises(SourceError, match="no more pictures"):
            watch.run()
        source.close()
    finally:
        server.shutdown()
        server.server_close()
    assert heard == [LOAD.code, PACK.code]


def test_a_stream_that_does_not_answer_or_has_no_pictures_says_so(service):
    source = open_source("http://127.0.0.1:9/stream")
    with pytest.raises(SourceError, match="does not answer"):
        list(source)
    source = open_source(service.url + "/nothing")
    with pytest.raises(SourceError, match="answers 501"):
        list(source)


def test_a_film_that_cannot_be_written_says_so(tmp_path):
    with pytest.raises(FilmError, match="cannot be written"):
        Film(tmp_path / "nowhere" / "f.avi")


def test_the_same_seed_makes_the_same_film(tmp_path):
    assert film(tmp_path / "a.avi", PACK).read_bytes() == film(tmp_path / "b.avi", PACK).read_bytes()


def test_each_verdict_has_a_sound_of_its_own():
    assert set(TONES) == {"go", "ask", "stop", "not checked"}
    assert len({wav(name) for name in TONES}) == 4
    assert all(wav(name)[:4] == b"RIFF" for name in TONES)
    Sound(mute=True).play("stop")


def run(*arguments):
    return CliRunner().invoke(scan_command, list(arguments))


def test_the_command_prints_one_line_a_verdict(tmp_path, service):
    video = film(tmp_path / "f.avi", LOAD, PACK)
    done = run(
        "--station",
        "loading-1",
        "--source",
        str(video),
        "--url",
        service.url,
        "--outbox",
        str(tmp_path / "o.db"),
        "--mute",
    )
    lines = done.output.strip().splitlines()
    assert done.exit_code == 0
    assert len(lines) == 2
    assert "GO" in lines[0] and LOAD.code in lines[0] and PACK.code in lines[1]


def test_the_command_prints_json_and_says_not_checked_when_the_service_is_away(tmp_path):
    video = film(tmp_path / "f.avi", PACK)
    done = run("--station", "loading-1", "--source", str(video), "--url", "http://127.0.0.1:9", "--outbox", str(tmp_path / "o.db"),
               "--json", "--mute", "--patience", "0.3")  # fmt: skip
    assert json.loads(done.output.splitlines()[0])["verdict"] == "not checked"
    assert done.exit_code == 1
    assert "1 scans wait in the outbox" in done.output


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--station", "kitchen-1", "--source", "0"], "is not a station"),
        (["--station", "wash-1", "--source", "nowhere.avi"], "there is no nowhere.avi"),
        (["--station", "wash-1"], "--source"),
    ],
)
def test_wrong_use_of_the_command_is_one_clear_error_and_status_2(tmp_path, arguments, words):
    done = run(*arguments, "--outbox", str(tmp_path / "o.db"))
    assert done.exit_code == 2
    assert words in done.output
    assert "Traceback" not in done.output


def test_the_scanner_knows_the_codes_and_nothing_else_of_ours():
    for file in Path(decode.__file__).parent.glob("*.py"):
        for line in file.read_text("utf-8").splitlines():
            if line.startswith(("from label_templates", "import label_templates", "from service", "import service")):
                assert line.startswith("from label_templates.codes import"), (file.name, line)
