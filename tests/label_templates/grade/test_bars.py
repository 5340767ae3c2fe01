"""Code 128s with a known amount of each defect: what is measured is what was made, and more of it is never graded better."""

import numpy as np
import pytest

from label_templates import symbols
from label_templates.grade.code128 import decode
from tests.label_templates.grade.prints import (
    DOTS,
    QUIET,
    TALL,
    TEXT,
    bars,
    blurred,
    drawn,
    fattened,
    graded,
    runs_of,
    value,
)

Q = QUIET["CODE128"]
WIDE_SPACE = next(run for run in runs_of(bars())[1:-1] if run[1] >= 3 and not run[2])
WIDE_BAR = next(run for run in runs_of(bars())[1:-1] if run[1] >= 3 and run[2])
NARROW = next(run for run in runs_of(bars())[20:-1] if run[1] == 1 and not run[2])


def within(run):
    """The columns of the middle module of a wide run, in dots."""
    middle = run[0] * DOTS + run[1] * DOTS // 2
    return slice(middle - DOTS // 2, middle + DOTS // 2)


def rows(first, last):
    """The rows from one share of the bars' height to another, in dots."""
    return slice(round((4 + TALL * first) * DOTS), round((4 + TALL * last) * DOTS))


def test_a_perfect_print_is_an_a_with_nothing_to_do():
    found = graded(drawn(bars()))
    assert (found.text, found.symbology, found.letter, found.number) == (TEXT, "CODE128", "A", 4.0)
    assert found.advice == ()
    assert found.pixels_per_module == pytest.approx(DOTS, abs=0.02)
    width = len(bars()) - 2 * Q
    made = np.array([(Q, 4), (Q + width, 4), (Q + width, 4 + TALL), (Q, 4 + TALL)]) * DOTS
    assert np.allclose(found.corners, made, atol=DOTS + 1)
    assert "2000" in found.edition and any("not a verification" in note for note in found.notes)


@pytest.mark.parametrize("ink", [0.0, 0.25, 0.3, 0.45, 0.6])
def test_contrast_and_least_reflectance_are_those_of_ink_and_paper(ink):
    found = graded(drawn(bars(), ink=ink * 0.9, paper=0.9))
    assert value(found, "symbol contrast").value == pytest.approx(1 - ink, abs=0.01)
    assert value(found, "minimum reflectance").value == pytest.approx(ink, abs=0.01)
    assert (value(found, "minimum reflectance").grade == 4.0) == (ink <= 0.5)


@pytest.mark.parametrize("depth", [0.1, 0.17, 0.22, 0.28, 0.35])
def test_a_spot_in_a_space_and_a_void_in_a_bar_are_the_defects(depth):
    """Over the ten lines; the last tenth is left whole for the stock decoder, which takes such a spot for a bar."""
    spot, void = drawn(bars()), drawn(bars())
    spot[rows(0, 0.9), within(WIDE_SPACE)] -= depth
    void[rows(0, 0.9), within(WIDE_BAR)] += depth
    for made in (spot, void):
        assert value(graded(made), "defects").value == pytest.approx(depth, abs=0.01)


@pytest.mark.parametrize("dots", [-3, -2, -1, 1, 2, 3])
def test_growth_is_measured_to_a_tenth_of_a_dot(dots):
    found = value(graded(fattened(drawn(bars()), dots), dots_per_module=DOTS), "bar width growth")
    assert found.value * DOTS == pytest.approx(dots, abs=0.1)


# Three bars a character each k dots wider: 1 - 3k/(1.75·10), the parity part of decodability (ISO/IEC 15417, from memory).
@pytest.mark.parametrize("dots", [1, 2, 3])
def test_fat_bars_cost_decodability_and_are_told_as_too_dark(dots):
    found = graded(fattened(drawn(bars()), dots), dots_per_module=DOTS)
    assert value(found, "decodability").value == pytest.approx(1 - 3 * dots / 17.5, abs=0.01)
    if dots == 3:
        assert found.advice[0].startswith("bars 3.0 dots fat: print darkness too high")


# An edge that stands d modules from its place moves an edge-to-similar-edge width by d: 1 - d/0.5 (ISO/IEC 15417, from memory).
@pytest.mark.parametrize("dots", [1, 2, 3])
def test_one_edge_out_of_place_costs_decodability(dots):
    character = Q + 4 * 11
    first = next(run for run in runs_of(bars()) if run[0] == character)
    edge = (first[0] + first[1]) * DOTS
    made = drawn(bars())
    made[rows(0, 1), edge : edge + dots] = 0.0
    assert value(graded(made), "decodability").value == pytest.approx(1 - dots / DOTS / 0.5, abs=0.02)


@pytest.mark.parametrize("modules", [12, 10, 9, 6, 5])
@pytest.mark.parametrize("side", ["before", "after"])
def test_what_stands_beside_the_bars_is_measured_from_them(modules, side):
    made = drawn(bars())
    if side == "before":
        made[:, : (Q - modules) * DOTS] = 0.0
    else:
        made[:, made.shape[1] - (Q - modules) * DOTS :] = 0.0
    found = graded(made)
    assert value(found, "quiet zone").value == pytest.approx(modules, abs=0.1)
    assert (found.letter == "F") == (modules < 10)
    assert modules >= 10 or found.advice[0].startswith(f"only {modules}.0 modules are free beside the bars")


def test_a_picture_that_ends_beside_the_bars_asks_for_another():
    found = graded(drawn(bars())[:, (Q - 5) * DOTS :])
    assert value(found, "quiet zone").value == pytest.approx(5, abs=0.2)
    assert found.advice[0].startswith("the picture ends 5.")


# Ten lines between 10 % and 90 % of the height (documentation.euresys.com, ISO/IEC 15416 for 1D bar codes): at 14, 22, … 86 %.
@pytest.mark.parametrize(("top", "lines"), [(1.0, 0), (0.82, 1), (0.74, 2), (0.66, 3), (0.58, 4)])
def test_lines_that_do_not_decode_count_by_their_share(top, lines):
    made = drawn(bars())
    made[rows(top, 1), NARROW[0] * DOTS : (NARROW[0] + 1) * DOTS] = 0.0
    found = graded(made)
    assert value(found, "decode").value == pytest.approx(1 - lines / 10)
    assert found.number == pytest.approx(4 - 0.4 * lines)


def test_blur_lowers_the_least_edge_and_with_it_the_modulation():
    """Blur over a module and the aperture of half of one: a narrow space is seen at 1 - 1/8, a narrow bar at 1/8."""
    found = graded(blurred(drawn(bars()), DOTS))
    assert value(found, "modulation").value == pytest.approx(0.75, abs=0.05)


@pytest.mark.parametrize("spoil", [
    lambda amount: drawn(bars(), ink=amount * 0.15),
    lambda amount: fattened(drawn(bars()), amount),
    lambda amount: blurred(drawn(bars()), 1 + 3 * amount),
], ids=["contrast", "growth", "blur"])  # fmt: skip
def test_more_of_a_defect_is_never_graded_better(spoil):
    numbers = [graded(spoil(amount)).number for amount in range(5)]
    assert numbers == sorted(numbers, reverse=True)
    assert numbers[0] == 4.0 and numbers[-1] < 4.0


# Texts of the checks in CHECKS section 2: PJJ123C, HI345678, ABCDEF, abcdef, 345678.
@pytest.mark.parametrize("text", ["PJJ123C", "HI345678", "ABCDEF", "abcdef", "345678", TEXT, "a\tB\n9", "{}~|"])
def test_our_reference_decode_reads_what_was_drawn(text):
    modules = bars(text)
    edges = np.array([start for start, *_ in runs_of(modules)][1:], float)
    found = decode(edges * 0.37 + 5)
    assert found is not None
    assert (found.text, found.decodability) == (text.encode(), pytest.approx(1.0))
    assert found.widths.sum() == symbols.code128(text).width


def test_a_character_moved_to_another_place_is_not_decoded():
    modules = bars()
    at = Q + 11 * 3
    first, second = modules[at : at + 11].copy(), modules[at + 11 : at + 22].copy()
    modules[at : at + 11], modules[at + 11 : at + 22] = second, first
    edges = np.array([start for start, *_ in runs_of(modules)][1:], float)
    assert decode(edges) is None
