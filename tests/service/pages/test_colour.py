"""Nothing by colour alone: what a screen says is told apart by its shape, through Chromium's filters for colour-blind eyes."""

import io
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from tests.practice import NURSE
from tests.service.pages.test_station import SHOW, SHOWN, at_station

VERDICTS = ("go", "ask", "stop", "not checked")
SIGHTS = ("deuteranopia", "protanopia", "tritanopia", "achromatopsia")
DIFFERENT = 0.05
"""Share of a shape's box in which two shapes must differ. Our own limit, no source."""


def drawn(element):
    """The shape as light and dark only: which of its pixels are not its background's, whatever their colour."""
    grey = np.asarray(Image.open(io.BytesIO(element.screenshot())).convert("L").resize((96, 96)), dtype=int)
    ground = int(np.median(np.concatenate([grey[0], grey[-1], grey[:, 0], grey[:, -1]])))
    return np.abs(grey - ground) > 48


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_four_verdicts_differ_in_shape_and_word_to_every_eye(page, sight, theme):
    shown, bridge, _ = page
    bridge.scan("theatre-1", NURSE)
    shown.emulate_media(color_scheme=theme)
    at_station(shown, "theatre-1")
    eyes = shown.context.new_cdp_session(shown)
    eyes.send("Emulation.setEmulatedVisionDeficiency", {"type": sight})
    shapes, words = {}, set()
    for verdict in VERDICTS:
        shown.evaluate(SHOW, [SHOWN, verdict])
        shapes[verdict] = drawn(shown.locator("#shape svg"))
        words.add(shown.inner_text("#word"))
    assert len(words) == len(VERDICTS)
    same = [(a, b) for a, b in combinations(VERDICTS, 2) if np.mean(shapes[a] ^ shapes[b]) < DIFFERENT]
    assert same == []


def test_the_board_marks_what_needs_somebody_by_more_than_colour(page):
    shown, bridge, _ = page
    _, load = bridge.ready("Eye set 1", 1)
    bridge.ready("Eye set 2", 2)
    bridge.act("hold", load=load, why="leak found at the door")
    shown.goto("/")
    widths = shown.evaluate(
        """() => [...document.querySelectorAll("svg.round a")].map((tile) =>
             [tile.classList.contains("needs"), parseFloat(getComputedStyle(tile.querySelector(".tile")).strokeWidth)])"""
    )
    thick, thin = [w for needs, w in widths if needs], [w for needs, w in widths if not needs]
    assert thick
    assert thin
    assert min(thick) > max(thin)
    assert "Load 0001 is on hold." in shown.inner_text("main")
