"""The check of a bench: what it judges, and that it asks for a change before labels stop reading."""

import json

import cv2
import numpy as np
import pytest

from scanner.aim import aim
from scanner.check import SHARPNESS, judge
from scanner.decode import read
from scanner.film import Film
from scanner.frames import open_source
from tests.command import foldmark
from tests.scanner.shown import LOAD, PACK, film, picture

RNG = np.random.default_rng(5)


def bench(label=PACK, *, scale=0.7, blur=0.0, light=1.0, burnt=0.0):
    """A label on a bench, held as told: smaller, blurred, in less light, with a share of it burnt out."""
    image = cv2.resize(picture(label), None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    scene = np.full((540, 960), 150.0)
    scene[100 : 100 + image.shape[0], 200 : 200 + image.shape[1]] = image * 0.82 + 18
    scene = cv2.GaussianBlur(scene, (0, 0), blur) if blur else scene
    scene = np.clip(scene * light + RNG.normal(0, 3, scene.shape), 0, 255).astype(np.uint8)
    seen = read(scene, 0.0)
    if burnt:
        corners = np.vstack([one.corners for one in seen if one.symbology == "QR"])
        (left, top), (right, bottom) = corners.min(axis=0).astype(int), corners.max(axis=0).astype(int)
        scene[top : top + int((bottom - top) * burnt), left:right] = 255
    return aim(scene, seen)


def changes(*aims, fps=30.0):
    return {one.what: one.change for one in judge(aims, fps) if not one.ok}


def test_a_good_bench_is_told_to_change_nothing():
    assert changes(bench(), bench(LOAD)) == {}


@pytest.mark.parametrize(
    ("how", "what", "words"),
    [
        ({"scale": 0.4}, "pixels a module", "closer"),
        ({"blur": 2.0}, "sharpness", "focus"),
        ({"light": 0.35}, "light", "more light"),
        ({"burnt": 0.3}, "glare in %", "lamp"),
    ],
)
def test_one_thing_wrong_with_a_bench_is_named_with_what_to_change(how, what, words):
    found = changes(bench(**how))
    assert words in found[what]


def test_too_few_frames_a_second_and_no_label_are_told():
    empty = aim(np.full((540, 960), 150, np.uint8), [])
    dark = aim(np.full((540, 960), 9, np.uint8), [])
    assert "hold one of our labels" in changes(empty)["frames with a label in %"]
    assert changes(dark)["frames with a label in %"].startswith("bring light")
    assert set(changes(bench(), fps=9.0)) == {"frames a second"}


def test_more_sharpness_is_asked_for_before_labels_stop_reading():
    for scale in (0.5, 0.7, 0.9):
        steps = [bench(scale=scale, blur=blur) for blur in np.arange(0.2, 3, 0.4)]
        read_still = [one.sharpness for one in steps if one.module_px]
        assert read_still[0] > SHARPNESS.least > read_still[-1]


def test_pixels_to_a_module_are_those_of_the_picture():
    # A pack's QR code is version 1: 21 modules (ISO/IEC 18004). The drawing gives each the same whole number of pixels.
    image = picture(PACK)
    (code,) = (one for one in read(image, 0.0) if one.symbology == "QR")
    found = aim(image, [code])
    wide = code.corners[:, 0].max() - code.corners[:, 0].min()
    assert found.module_px == pytest.approx(wide / 21, rel=0.02)


def check(*arguments, cwd):
    return foldmark("scan", "--check", *arguments, cwd=cwd)


def test_the_command_judges_a_film_and_its_exit_status_says_whether_to_change_something(tmp_path):
    good = check("--source", str(film(tmp_path / "good.avi", PACK, LOAD)), cwd=tmp_path)
    assert (good.returncode, good.stdout.splitlines()[-1]) == (0, "The bench is good.")
    Film(tmp_path / "empty.avi").close()
    nothing = Film(tmp_path / "nothing.avi")
    nothing.empty(20)
    nothing.close()
    bad = check("--source", "nothing.avi", "--json", cwd=tmp_path)
    found = json.loads(bad.stdout)
    assert (bad.returncode, found["ok"]) == (1, False)
    assert [one["what"] for one in found["findings"] if not one["ok"]] == ["frames with a label in %"]


def test_a_check_needs_a_picture_and_says_so(tmp_path):
    (tmp_path / "lines").write_text("K-YES-1\n")
    for arguments, words in (
        ((), "--source is missing"),
        (("--source", "nowhere.avi"), "there is no nowhere.avi"),
        (("--source", "keys"), "there is no keyboard here"),
        (("--source", "nowhere.avi", "--size", "big"), "is no size"),
        (("--source", "nowhere.avi", "--site", "K"), "is no site"),
    ):
        done = check(*arguments, cwd=tmp_path)
        assert (done.returncode, words in done.stderr) == (2, True), done.stderr


def test_a_film_counts_as_many_frames_a_second_as_it_was_made_with(tmp_path):
    assert open_source(str(film(tmp_path / "f.avi", PACK))).fps == 15
