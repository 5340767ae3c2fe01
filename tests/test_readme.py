"""The README is run: every command in it, and what it prints, in a temporary folder."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from service import settings
from tests.conftest import PLAY

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text("utf-8")
CONSOLE = re.findall(r"```console\n(.*?)```", README, re.DOTALL)
SETUP = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)


def run(command, folder):
    words = shlex.split(command)
    assert words[0] == "foldmark", command
    done = subprocess.run([sys.executable, "-m", "service.cli", *words[1:]], cwd=folder, capture_output=True, text=True, check=False,
                          env=os.environ | {"PYTHONPATH": str(ROOT)}, timeout=600)  # fmt: skip
    assert done.returncode == 0, (command, done.stderr)
    return done.stdout


@pytest.fixture(scope="module")
def folder(played, tmp_path_factory):
    """A folder in which the first command's demo was played, with the cycle log of the README."""
    place = tmp_path_factory.mktemp("readme")
    folder, said = played
    assert "no gap in the record" in said
    shutil.copytree(folder, place / "demo-out", ignore=shutil.ignore_patterns("*.avi"))
    rows = "".join(f"{t},{20 if t in (0, 20) else 134.2 + 0.9 * (t == 140)}\n" for t in range(0, 241, 20))
    (place / "cycle.csv").write_text("seconds,temperature_c\n" + rows)
    return place


@pytest.mark.parametrize("block", CONSOLE, ids=lambda block: block.split("\n")[0][2:40])
def test_a_block_of_the_readme_prints_what_it_says(block, folder):
    for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
        command, _, expected = part.partition("\n")
        printed = re.sub(r"\(K7 [0-9a-f]{12}…\)", "(K7 …)", run(command, folder))
        printed = re.sub(r"(log book: )[0-9a-f]{16}", r"\1…", printed)
        assert printed.strip() == expected.strip(), command


def test_the_two_commands_set_up_a_venv_and_run_the_demo_and_the_tests():
    assert len(SETUP) == 2
    assert SETUP[0].startswith("python3 -m venv .venv && .venv/bin/pip install")
    assert SETUP[0].strip().endswith(f"&& .venv/bin/{PLAY}")
    assert SETUP[1].strip().endswith("&& .venv/bin/pytest")


def test_every_file_the_readme_points_at_is_there():
    for target in re.findall(r"\]\((?!http)([^)]+)\)", README):
        assert (ROOT / target).exists(), target


def test_the_settings_page_shows_only_settings_there_are(tmp_path):
    text = re.findall(r"```toml\n(.*?)```", (ROOT / "docs" / "settings.md").read_text("utf-8"), re.DOTALL)[0]
    path = tmp_path / "f.toml"
    path.write_text(text)
    found = settings.load(path, {})
    assert found.practice == settings.load(path, {}).practice
    assert found.practice.quarantine_shelves == ("H-K7-009-U",)
    assert set(found.practice.logs) == set(found.practice.readings) == {"L-K7-1"}
    for key in re.findall(
        r"^(\w+) =", re.sub(r"\[(?:logs|readings|programmes)\..*?\n\n", "", text, flags=re.DOTALL), re.MULTILINE
    ):
        assert key in {*settings._SERVICE, *settings._CHOICES, "days", "source"}


def test_the_conversation_page_names_every_act_of_the_api():
    from service.api.acts import POSTS

    page = (ROOT / "docs" / "conversation.md").read_text("utf-8")
    for post in POSTS:
        last = post.path.rsplit("/", 1)[-1]
        assert f"/{last}" in page, post.path
