"""The ratcheted corpus of public photographs: least reads, most misreads, set by set."""

import os
import time
import tomllib
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import pytest

from scanner.decode import read, second_opinion
from tests.scanner import corpus

RATCHET = tomllib.loads((Path(__file__).parent / "corpus.toml").read_text("utf-8"))["sets"]


@pytest.mark.parametrize("name", RATCHET)
def test_a_set_of_photographs_is_read_at_least_as_well_as_before(name, monkeypatch):
    slow = SimpleNamespace(monotonic=lambda: time.process_time() / 2)  # a busy machine's processor is slower as well
    monkeypatch.setattr("scanner.decode.time", slow)
    path = corpus.folder()
    if path is None or not second_opinion():
        missing = "the photographs are not beside the project" if path is None else "libzbar is not installed"
        assert os.environ.get("CI") != "true", missing
        pytest.skip(missing)
    pictures = corpus.answers(path)[name]
    look = partial(read, budget_s=0.25) if not any(pictures.values()) else read  # nothing to find takes all its time
    reads, misreads = corpus.score(lambda image: [s.text for s in look(image)], path, name, pictures)
    assert (reads >= RATCHET[name]["reads"], misreads <= RATCHET[name]["misreads"]) == (True, True), (reads, misreads)
