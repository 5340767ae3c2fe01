"""The scanner: one scan for each showing, nothing unchecked posted, nothing lost while the service is away."""

import json
import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from label_templates.labels import BENCH_CARDS
from scanner import decode, watch
from scanner.decode import Sighting, ours, read
from scanner.film import Film, FilmError
from scanner.frames import open_source
from scanner.sound import TONES, Sound, wav
from service.cli.scan import scan as scan_command
from tests.scanner.shown import LOAD, NOON, PACK, Heard, film, picture, watch_film
from tests.service_stub import Service


def sighting(text):
    return Sighting(text, "QR", np.zeros((4, 2)), "zxing")


def test_every_label_shown_becomes_one_scan_in_the_order_shown(tmp_path, service):
    labels = [LOAD, PACK, *BENCH_CARDS[:6], PACK, PACK]
    heard, watching = watch_film(film(tmp_path / "day.avi", *labels), service, tmp_path / "out.db")
    assert [code for code, _ in heard] == [label.code for label in labels]
    assert [body["code"] for body in service.came] == [label.code for label in labels]
    assert len({body["id"] for body in service.came}) == len(labels)
    assert watching.counts.scans == watching.counts.answered == len(labels)
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
    monkeypatch.setattr(watch, "MOST_S", 5)  # a busy machine has as long as it needs: how long is the bench's business
    monkeypatch.setattr(watch, "_SHARE", 1000)
    scene = np.full((720, 1280, 3), 150, np.uint8)
    scene[200:520, 400:896] = picture(PACK)[..., None]
    writer = cv2.VideoWriter(str(tmp_path / "f.avi"), cv2.VideoWriter.fourcc(*"MJPG"), 30, (1280, 720))
    for _ in range(12):
        writer.write(scene)
    writer.release()
    heard, _ = watch_film(tmp_path / "f.avi", service, tmp_path / "o.db")
    assert [code for code, _ in heard] == [PACK.code]


def test_a_film_that_cannot_be_written_says_so(tmp_path):
    with pytest.raises(FilmError, match="cannot be written"):
        Film(tmp_path / "nowhere" / "f.avi")


def test_the_same_seed_makes_the_same_film(tmp_path):
    assert film(tmp_path / "a.avi", PACK).read_bytes() == film(tmp_path / "b.avi", PACK).read_bytes()


def test_each_verdict_has_a_sound_of_its_own():
    assert set(TONES) == {"go", "ask", "stop", "not checked", "not taken"}
    assert len({wav(name) for name in TONES}) == 5
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
    lines = done.stdout.strip().splitlines()
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


def test_a_scanner_without_its_decoder_says_so_in_one_line(tmp_path):
    program = "import sys; sys.modules['zxingcpp'] = None; sys.argv = ['foldmark', *sys.argv[1:]]; import service.cli; service.cli.main()"
    done = subprocess.run([sys.executable, "-c", program, "scan", "--station", "wash-1", "--source", "0"], cwd=tmp_path, capture_output=True,
                          text=True, check=False, env=os.environ | {"PYTHONPATH": str(Path(decode.__file__).parents[1])})  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.startswith("foldmark: a part is missing (")
    assert "zxingcpp" in done.stderr and done.stderr.count("\n") == 1


def test_labels_shown_while_the_service_is_stopped_arrive_once_each_and_in_order(tmp_path, service):
    labels = [*BENCH_CARDS[:8], LOAD, PACK]
    source = open_source(str(film(tmp_path / "f.avi", *labels)), clock=lambda n: NOON + timedelta(seconds=n / 15))
    heard = Heard(source, service.url, tmp_path / "o.db")
    while len(service.came) < 3:
        heard.watch.run(heard.watch.counts.frames + 1)
    service.close()
    while len(heard.codes) < 7:
        heard.watch.run(heard.watch.counts.frames + 1)
    again = Service(service.port)
    heard.watch.run()
    while heard.outbox.waiting():
        heard.client.send_waiting()
    again.close()
    came = [body["code"] for body in service.came + again.came]
    assert came == heard.codes == [label.code for label in labels]
    assert [verdict for _, verdict in heard.verdicts[:7]] == ["go"] * 3 + ["not checked"] * 4
    assert len({body["id"] for body in service.came + again.came}) == len(labels)


def test_the_scanner_knows_the_codes_and_nothing_else_of_ours():
    for file in Path(decode.__file__).parent.rglob("*.py"):
        for line in file.read_text("utf-8").splitlines():
            if line.startswith(("from label_templates", "import label_templates", "from service", "import service")):
                known = (
                    line.startswith("from label_templates.codes import") or line == "from label_templates import codes"
                )
                assert known, (file.name, line)
