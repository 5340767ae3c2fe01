"""`foldmark cycle`: what was understood, what was judged, and one line for what cannot be read."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from service.cli.cycle import cycle
from service.steam import saturation
from tests.service.steam.logs.logger import PLAIN

DOCS = Path(__file__).parents[3] / "docs" / "cycles.md"
BLOCKS = re.findall(r"```(text|toml)\n(.*?)```", DOCS.read_text("utf-8"), re.DOTALL)
EXAMPLES = [(log, mapping) for (_, log), (_, mapping) in zip(BLOCKS[::2], BLOCKS[1::2], strict=True)]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*arguments, pasted=None):
    return CliRunner().invoke(cycle, arguments, input=pasted)


def tried(folder, example, *more):
    log, mapping = EXAMPLES[example]
    (folder / "log.txt").write_text(log, "utf-8")
    (folder / "m.toml").write_text(mapping, "utf-8")
    done = run("log.txt", "--mapping", "m.toml", "--try", "--json", *more)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_the_printers_example_of_the_documentation_is_understood(folder):
    found = tried(folder, 0)
    assert (found["counter"], found["started_at"], found["asks"]) == (331, "2026-03-04T09:10:00+00:00", [])
    words = found["understood"]
    assert words["first reading"] == "0 s, 21.80 °C, 21.50 °C, 100.3 kPa"
    assert words["last reading"] == "900 s, 99.00 °C, 98.40 °C, 101.3 kPa"
    assert words["pressure"] == "the printed line, bar gauge, with 101.3 kPa of air at 0 m"
    assert words["left out"] == "2 lines: 1 (no reading), 7 (no reading)"


def test_the_typed_example_of_the_documentation_is_understood_at_its_height(folder):
    found = tried(folder, 1, "--altitude", "2000")
    hot = float(saturation.temperature_c(98.3577 + 110))
    assert found["understood"]["temperatures"].endswith(f"to {hot:.2f} °C")
    assert found["mapping"]["altitude_m"] == 250


def test_what_was_understood_is_printed_and_nothing_is_judged(folder):
    (folder / "c.csv").write_bytes(PLAIN)
    done = run("c.csv", "--try", "--programme", "134/3")
    assert done.exit_code == 0
    assert "temperature:    temperature_c, °C" in done.stdout
    assert "left out:       nothing" in done.stdout
    assert not any(word in done.stdout.lower() for word in ("pass", "fail", "hold"))
    assert [path.name for path in folder.iterdir()] == ["c.csv"]


def test_a_log_that_asks_is_shown_when_tried_and_refused_when_judged(folder):
    (folder / "c.csv").write_bytes(PLAIN.replace(b"temperature_c", b"temperature_f"))
    done = run("c.csv", "--try")
    assert (done.exit_code, "ASKS:" in done.stdout, "are these °C?" in done.stdout) == (1, True, True)
    done = run("c.csv", "--programme", "134/3")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "are these °C?" in done.stderr


def test_a_log_is_pasted_to_standard_input():
    done = run("-", "--programme", "134/3", pasted=PLAIN)
    assert (done.exit_code, done.stdout[:4]) == (0, "PASS")
    done = run("-", "--programme", "134/3", pasted=b"\x00")
    assert (done.exit_code, done.stderr.startswith("Error: pasted: the log holds NUL")) == (2, True)


def test_a_height_changes_what_a_gauge_means():
    pasted = "seconds,temperature_c,P (bar gauge)\n0,20,0\n5,118.3,1.034\n"
    assert "84.6 kPa" in run("-", "--try", "--altitude", "1500", pasted=pasted).stdout
    assert "101.3 kPa" in run("-", "--try", pasted=pasted).stdout


def test_a_file_of_a_gigabyte_is_refused_by_its_size_without_being_read(folder):
    with (folder / "big.csv").open("wb") as stream:
        stream.truncate(1 << 30)
    done = run("big.csv", "--programme", "134/3")
    assert (done.exit_code, "the log has 1073741824 bytes" in done.stderr) == (2, True)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("c.csv",), "which programme"), (("c.csv", "--programme", "9/9"), "no programme is named"), (("c.csv", "--try", "--altitude", "9000"), "no altitude"),
        (("c.csv", "--try", "--mapping", "bad.toml"), "bad.toml: the mapping is not TOML"), (("c.csv", "--try", "--mapping", "c.csv"), "c.csv: the mapping is not TOML"),
        (("c.csv", "--try", "--tz", "Atlantis"), "not a time zone"), (("none.csv", "--try"), "does not exist"),
    ],
)  # fmt: skip
def test_bad_use_is_one_line_and_status_2(folder, arguments, words):
    (folder / "c.csv").write_bytes(PLAIN)
    (folder / "bad.toml").write_text("[time")
    done = run(*arguments)
    assert (done.exit_code, words in done.stderr, done.stdout) == (2, True, ""), done.output
