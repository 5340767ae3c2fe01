"""`foldmark label grade`, as a shell sees it."""

import json

import numpy as np
import pytest
from PIL import Image

from tests.command import foldmark
from tests.label_templates.grade.prints import bars, drawn, fattened, grey, squares


def saved(path, print_, **how):
    Image.fromarray(grey(print_)).save(path, **how)
    return path


def test_a_good_label_prints_its_table_and_ends_with_0(tmp_path):
    done = foldmark("label", "grade", saved(tmp_path / "good.png", drawn(squares(), 6)))
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert lines[0] == "P-K7-0042-0017-R  QR code  A  4.0"
    assert lines[3].split()[:6] == ["symbol", "contrast", "1.00", "A", "4.0", "at"]
    assert "DO:" not in done.stdout
    assert "not a verification by an ISO instrument" in done.stdout and "Reflectance is relative" in done.stdout


def test_a_label_below_the_least_grade_ends_with_1_and_says_what_to_do(tmp_path):
    path = saved(tmp_path / "fat.png", fattened(drawn(bars()), 3))
    done = foldmark("label", "grade", path, "--dots-per-module", 2, "--least", "A")
    assert done.returncode == 1
    assert "  DO: bars 0.6 dots fat: print darkness too high" in done.stdout
    assert foldmark("label", "grade", path, "--least", "B").returncode == 0


def test_the_printers_resolution_with_the_scans_own_gives_dots(tmp_path):
    scan = saved(tmp_path / "scan.png", fattened(drawn(bars(), 12), 4), dpi=(1219.2, 1219.2))
    done = foldmark("label", "grade", scan, "--dpi", 203.2)
    assert "bars 0.7 dots fat" in done.stdout
    unsaid = foldmark("label", "grade", saved(tmp_path / "photo.png", drawn(bars(), 4)), "--dpi", 203.2)
    assert unsaid.returncode == 2
    assert "does not say its own resolution" in unsaid.stderr and unsaid.stderr.count("\n") == 1


def test_the_json_holds_every_value_with_its_limit_and_source(tmp_path):
    done = foldmark("label", "grade", saved(tmp_path / "good.png", drawn(bars(), 4)), "--json")
    found = json.loads(done.stdout)
    assert (found["met"], found["least"]) == (True, "C")
    (symbol,) = found["symbols"]
    assert (symbol["text"], symbol["letter"], symbol["number"]) == ("P-K7-0042-0017-R", "A", 4.0)
    assert "2000 edition" in symbol["edition"] and len(symbol["notes"]) == 2
    for one in symbol["parameters"]:
        assert set(one) == {"name", "value", "unit", "grade", "letter", "limit", "source", "advice"}
        assert one["source"].startswith(("READ", "RECALL", "told"))


def test_the_annotated_picture_is_written_whole(tmp_path):
    out = tmp_path / "graded.png"
    done = foldmark("label", "grade", saved(tmp_path / "good.png", drawn(squares(), 6)), "-o", out)
    assert done.returncode == 0
    with Image.open(out) as image:
        assert image.format == "PNG" and image.width > 1000
    assert sorted(path.name for path in tmp_path.iterdir()) == ["good.png", "graded.png"]
    refused = foldmark("label", "grade", tmp_path / "good.png", "-o", tmp_path / "nowhere" / "graded.png")
    assert refused.returncode == 2 and "cannot be written" in refused.stderr


def test_nothing_to_grade_ends_with_1_and_no_picture_with_2_each_in_one_line(tmp_path):
    empty = foldmark("label", "grade", saved(tmp_path / "empty.png", np.ones((80, 80))))
    assert (empty.returncode, empty.stdout) == (1, "")
    assert "no QR code or Code 128 is read in it" in empty.stderr and empty.stderr.count("\n") == 1
    (tmp_path / "text.png").write_text("words")
    junk = foldmark("label", "grade", tmp_path / "text.png")
    assert (junk.returncode, junk.stdout) == (2, "")
    assert "no picture that can be read" in junk.stderr and junk.stderr.count("\n") == 1


def test_two_ways_to_say_the_same_are_refused(tmp_path):
    path = saved(tmp_path / "good.png", drawn(squares(), 6))
    done = foldmark("label", "grade", path, "--dpi", 203, "--dots-per-module", 3)
    assert done.returncode == 2 and "give one of them" in done.stderr


@pytest.mark.parametrize("words", ["photo.jpg -o graded.png --least B", "not a\n  verification", "Exit status 1"])
def test_the_help_has_examples_and_says_what_it_is_not(words):
    said = " ".join(foldmark("label", "grade", "--help").stdout.split())
    assert " ".join(words.split()) in said
