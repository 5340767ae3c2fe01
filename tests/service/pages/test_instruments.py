"""Drawings of instruments: every line of the demo's sheets has one, told from the others."""

from xml.etree import ElementTree

import pytest

from service.demo.tarn_bridge import SETS
from service.pages.instruments import DRAWINGS, drawing_of

SHAPES = {"path", "circle", "ellipse", "line", "polyline", "rect"}


def test_every_line_of_the_demos_sheets_is_drawn():
    lines = {line for one in SETS.values() for _, line, _ in one.sheet}
    assert len(lines) > 20
    assert [line for line in sorted(lines) if drawing_of(line) is None] == []


def test_there_are_many_and_no_two_are_alike():
    assert len(DRAWINGS) >= 30
    assert len(set(DRAWINGS.values())) == len(DRAWINGS)


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_holds_plain_shapes(name):
    drawn = ElementTree.fromstring(f"<svg>{DRAWINGS[name]}</svg>")
    assert len(drawn)
    for shape in drawn.iter():
        if shape is not drawn:
            assert shape.tag in SHAPES
            assert not {"style", "id", "class", "onload"} & shape.attrib.keys()


@pytest.mark.parametrize(
    ("line", "other"),
    [("Mayo scissors", "Metzenbaum scissors"), ("Extraction forceps", "Root tip forceps"), ("Luxator 3 mm", "Winged elevator"),
     ("Needle holder", "Needle holder, fine"), ("Mosquito forceps", "Artery forceps")],
)  # fmt: skip
def test_instruments_that_are_easily_confused_are_drawn_apart(line, other):
    assert drawing_of(line) != drawing_of(other)
    assert drawing_of(line)
    assert drawing_of(other)


def test_two_of_a_kind_are_drawn_as_one_and_what_nobody_drew_is_left_to_its_words():
    assert drawing_of("Luxators, 2 mm") == drawing_of("luxator") == DRAWINGS["luxator"]
    assert drawing_of("Somebody's special forceps") == DRAWINGS["forceps"]
    assert drawing_of("Thermometer") is None
    assert drawing_of("") is None
