"""Limits as restated by makers of reading equipment (CHECKS section 3; READ-2), each at its boundary."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from label_templates.grade import limits
from label_templates.grade.limits import LINEAR, MATRIX, letter

# standard, parameter, sense, values for 4, 3, 2, 1
# 15415: contrast, modulation, unused error correction: manualshive.com, reader manual p. 39; nonuniformities:
# manualshelf.com, reader manual p. 22. 15416: axicon.com/fractional-grading, its 2000 table. Quiet zone of a Code 128:
# GS1 General Specifications 5.4.4.2. QR patterns and margin: ISO/IEC 18004 annex G, from memory.
PUBLISHED = [
    (MATRIX, "symbol contrast", "at least", (0.70, 0.55, 0.40, 0.20)),
    (MATRIX, "modulation", "at least", (0.50, 0.40, 0.30, 0.20)),
    (MATRIX, "unused error correction", "at least", (0.62, 0.50, 0.37, 0.25)),
    (MATRIX, "axial nonuniformity", "at most", (0.06, 0.08, 0.10, 0.12)),
    (MATRIX, "grid nonuniformity", "at most", (0.38, 0.50, 0.63, 0.75)),
    (MATRIX, "quiet zone", "at most", (0, 1, 2, 3)),
    (LINEAR, "symbol contrast", "at least", (0.70, 0.55, 0.40, 0.20)),
    (LINEAR, "modulation", "at least", (0.70, 0.60, 0.50, 0.40)),
    (LINEAR, "decodability", "at least", (0.62, 0.50, 0.37, 0.25)),
    (LINEAR, "defects", "at most", (0.15, 0.20, 0.25, 0.30)),
]
PASS_OR_FAIL = [
    (LINEAR, "edge contrast", "at least", 0.15),
    (LINEAR, "minimum reflectance", "at most", 0.5),
    (LINEAR, "decode", "at least", 1),
    (LINEAR, "quiet zone", "at least", 10),
    (MATRIX, "decode", "at least", 1),
]


@pytest.mark.parametrize(
    ("table", "name", "sense", "steps"), PUBLISHED, ids=lambda one: one if isinstance(one, str) else ""
)
def test_a_value_at_a_published_limit_has_its_grade_and_one_beyond_it_a_lower(table, name, sense, steps):
    limit = table[name]
    worse = -1e-4 if sense == "at least" else 1e-4
    assert limit.sense == sense
    for whole, step in zip((4.0, 3.0, 2.0, 1.0), steps, strict=True):
        assert limit.grade(step) == whole
        assert limit.grade(step + worse) == (pytest.approx(whole - 0.1) if whole > 1 else 0.0)
    assert limit.source.startswith(("READ", "RECALL"))


@pytest.mark.parametrize(
    ("table", "name", "sense", "step"), PASS_OR_FAIL, ids=lambda one: one if isinstance(one, str) else ""
)
def test_what_passes_or_fails_does_so_at_its_published_limit(table, name, sense, step):
    worse = -1e-4 if sense == "at least" else 1e-4
    assert (table[name].sense, table[name].grade(step), table[name].grade(step + worse)) == (sense, 4.0, 0.0)


def test_no_limit_is_without_its_boundary_test():
    tested = {(id(table), name) for table, name, *_ in PUBLISHED + PASS_OR_FAIL}
    untested = {name for table in (LINEAR, MATRIX) for name in table if (id(table), name) not in tested}
    assert untested == {"fixed pattern damage"}, "whose parts have tests of their own"


@pytest.mark.parametrize(
    "limit", [*LINEAR.values(), *MATRIX.values(), limits.FINDER, limits.TIMING], ids=lambda one: one.name
)
def test_a_worse_value_is_never_graded_better_and_grades_are_whole_tenths(limit):
    values = np.linspace(0, 1.2 * max(limit.steps), 500)
    grades = [limit.grade(float(v)) for v in (values if limit.sense == "at most" else values[::-1])]
    assert all(first >= second for first, second in pairwise(grades))
    assert all(grade == round(grade, 1) for grade in grades)


def test_midway_between_two_limits_lies_half_a_grade():
    assert LINEAR["symbol contrast"].grade(0.625) == 3.5
    assert LINEAR["defects"].grade(0.175) == 3.5


@pytest.mark.parametrize(("number", "said"), [(4.0, "A"), (3.5, "A"), (3.4, "B"), (2.5, "B"), (2.4, "C"), (1.5, "C"),
                                              (1.4, "D"), (0.5, "D"), (0.4, "F"), (0.0, "F")])  # fmt: skip
def test_letters_change_at_the_half_grades(number, said):
    assert letter(number) == said


# ISO/IEC 18004 annex G, from memory.
@pytest.mark.parametrize(("wrong", "grade"), [(0, 4.0), (1, 3.0), (2, 2.0), (3, 1.0), (4, 0.0)])
def test_a_finder_pattern_loses_a_grade_for_each_wrong_module(wrong, grade):
    assert limits.FINDER.grade(wrong) == grade


@pytest.mark.parametrize(("table", "title"), [(LINEAR, "**Code 128**"), (MATRIX, "**QR**")])
def test_the_page_about_grading_shows_every_limit_as_it_is(table, title):
    page = (Path(__file__).parents[3] / "docs" / "grading.md").read_text("utf-8")
    lines = page.split(title, 1)[1].split("\n\n")[1].replace("\\|", "").splitlines()
    rows = {cells[0]: cells[2] for cells in (line.strip("| ").split(" | ") for line in lines[2:])}
    assert set(table) <= set(rows)
    for name in set(table) - {"decode", "fixed pattern damage"}:
        sign, *steps = rows[name].split(", else")[0].replace("·", " ").split()
        assert sign == {"at least": "≥", "at most": "≤"}[table[name].sense]
        assert tuple(map(float, steps)) == table[name].steps, name
