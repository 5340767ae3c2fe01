"""Control charts as pictures: what is outside has a shape and a word, and every value that matters is written."""

from xml.etree import ElementTree

import numpy as np

from service.steam.control import chart
from service.steam.control_chart import Shown, control_svg

STEADY = np.tile([600.0, 604.0, 598.0, 602.0], 5)


def drawn(values, title="Heating time"):
    labels = [f"{day + 1} March" for day in range(len(values))]
    svg = control_svg(chart(values), Shown(title, "s", 0, labels))
    return svg, ElementTree.fromstring(svg)


def words(root):
    return [text.strip() for text in root.itertext() if text.strip()]


def test_a_steady_chart_writes_its_limits_its_mean_and_its_latest_value_and_marks_nothing():
    svg, root = drawn(STEADY)
    said = words(root)
    assert {"mean 601", "baseline", "Heating time"} <= set(said)
    assert any(one.startswith("upper limit 6") for one in said)
    assert any("latest 602 s" in one for one in said)
    assert 'class="outside"' not in svg


def test_what_lies_outside_has_a_shape_of_its_own_and_a_word_with_its_value():
    svg, root = drawn(np.concatenate((STEADY, [603, 655])))
    assert svg.count('class="outside"') == 2
    assert {"outside 655", "jump 52"} <= set(words(root))


def test_a_screen_reader_hears_the_summary_and_a_title_is_escaped():
    svg, root = drawn(STEADY, '<script>alert("x")</script>')
    space = {"svg": "http://www.w3.org/2000/svg"}
    assert root.attrib["role"] == "img"
    assert "20 loads, 0 outside" in root.find("svg:desc", space).text
    assert "<script" not in svg


def test_no_two_written_values_cover_each_other_however_many_are_outside():
    _, root = drawn(np.concatenate((STEADY, 700 + np.arange(20.0))))
    places = sorted(float(e.attrib["x"]) for e in root.iter() if (e.text or "").startswith("outside"))
    assert len(places) > 1
    assert min(np.diff(places)) >= 110


def test_a_thousand_loads_are_drawn_as_a_line_with_the_marks_kept():
    svg, _ = drawn(np.concatenate((np.tile(STEADY, 50), [900])))
    assert svg.count('class="outside"') == 2
    assert len(svg) < 40_000
