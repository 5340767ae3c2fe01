"""Pictures of the pages: every one there, of its size, shown side by side; and one line where no picture can be taken."""

import os

import pytest
from click.testing import CliRunner
from PIL import Image

from label_templates.codes import load_code, pack_code
from service.cli.demo import demo
from service.custody.practice import Practice
from service.demo import shots
from service.demo import tarn_bridge as tb
from service.demo.diary import FIRST, Diary
from service.demo.stage import Stage
from tests.browser import CHROMIUM

LOAD, PACK = load_code("L-K7-1", 331).text, pack_code("S-K7-0001-H", 1).text


@pytest.mark.skipif(
    CHROMIUM is None and os.environ.get("CI") != "true", reason="Chromium is not installed: no pictures"
)
def test_every_page_and_every_verdict_has_its_picture(tmp_path, monkeypatch):
    monkeypatch.setattr(shots, "SIZES", {"tablet": (1280, 800)})
    monkeypatch.setattr(shots, "THEMES", ("light",))
    monkeypatch.setattr(shots, "LANGUAGES", ("en",))
    diary = Diary()
    diary.at(FIRST, 8)
    stage = Stage(tmp_path / "practice.db", Practice(), diary.now)
    stage.desk.act(
        stage.new_id(), "enrol staff", by=tb.MANAGER, body={"badge": tb.NURSE, "roles": ["nurse"], "may_release": True}
    ).result(30)
    stage.clock.let_go()
    notable = {"opened": PACK, "pale": PACK, "wet": PACK, "bad_load": LOAD, "pale_load": LOAD}
    count = shots.take(stage, notable, tmp_path / "shots", print)
    stage.close()
    taken = sorted((tmp_path / "shots").glob("*.png"))
    verdicts = [f"station-{verdict}" for verdict in ("go", "ask", "stop", "not-checked")]
    seen = [f"{verdict}-{sight}" for verdict in verdicts for sight in shots.SIGHTS]
    stations = [f"station-{kind}" for kind in ("wash", "packing", "loading", "unloading", "store", "office")]
    named = [*shots.OUTSIDE, *shots.pages(notable), *stations, *verdicts, *seen]
    assert [picture.name for picture in taken] == sorted(f"{name}-tablet-light-en.png" for name in named)
    assert count == len(taken)
    assert {Image.open(picture).width for picture in taken} == {1280}
    assert len({picture.read_bytes() for picture in taken if picture.name.startswith("station-")}) == 18
    index = (tmp_path / "shots" / "index.html").read_text()
    assert all(f'src="{picture.name}"' in index for picture in taken)


@pytest.mark.parametrize(
    ("absent", "words"), [("which", "no Chromium is installed"), ("find_spec", "playwright is not installed")]
)
def test_without_a_browser_it_says_so_before_it_plays(tmp_path, monkeypatch, absent, words):
    place = "service.demo.shots.shutil.which" if absent == "which" else "service.demo.shots.find_spec"
    monkeypatch.setattr(place, lambda _name: None)
    out = tmp_path / "out"
    done = CliRunner().invoke(demo, ["--once", "--out", str(out), "--shots", str(tmp_path / "shots")])
    assert (done.exit_code, done.output.count("\n")) == (2, 1)
    assert words in done.output
    assert not out.exists()
