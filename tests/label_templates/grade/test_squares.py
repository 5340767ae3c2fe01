"""QR codes with a known amount of each defect: what is measured is what was made, and more of it is never graded better."""

import cv2
import numpy as np
import pytest

from label_templates.grade import codewords, place
from tests.label_templates.grade.prints import DOTS, QUIET, TEXT, blurred, drawn, fattened, graded, grey, squares, value

N, Q = 21, QUIET["QR"]


def with_wrong_codewords(count):
    """One module turned over in each of `count` codewords of a 1-Q."""
    modules, owner = squares(), codewords.codeword_of(1, "Q")
    for number in range(count):
        row, column = np.argwhere(owner == 3 * number)[2] + Q
        modules[row, column] ^= True
    return modules


def test_a_perfect_print_is_an_a_with_nothing_to_do():
    found = graded(drawn(squares()))
    assert (found.text, found.symbology, found.letter, found.number) == (TEXT, "QR", "A", 4.0)
    assert found.advice == ()
    assert found.pixels_per_module == pytest.approx(DOTS, abs=0.01)
    assert np.allclose(found.corners, np.array([(Q, Q), (Q + N, Q), (Q + N, Q + N), (Q, Q + N)]) * DOTS, atol=0.2)
    assert "2011" in found.edition and any("not a verification" in note for note in found.notes)


# UEC = 1 - 2t/(d - p); 1-Q has d = 13 check codewords, p = 1 kept back: one error .833, three .50 (ISO/IEC 15415, from memory).
@pytest.mark.parametrize(("errors", "unused"), [(0, 1.0), (1, 0.833), (2, 0.667), (3, 0.50), (4, 0.333), (5, 0.167)])
def test_wrong_codewords_use_up_the_error_correction(errors, unused):
    made = drawn(with_wrong_codewords(errors))
    assert value(graded(made), "unused error correction").value == pytest.approx(unused, abs=0.001)
    (found,) = place.find(grey(made))
    assert found.unused == pytest.approx(1 - 2 * errors / 13, abs=0.011), "the stock decoder keeps none back"


@pytest.mark.parametrize(("version", "level", "length"), [(1, "Q", 16), (3, "M", 40), (5, "Q", 60), (7, "H", 60)])
def test_a_module_turned_over_spoils_the_one_codeword_it_belongs_to(version, level, length):
    text = "A7-" * 40
    modules = codewords.drawn(text[:length].encode(), version, level, 2)
    owner = codewords.codeword_of(version, level)
    blocks = codewords.blocks(version, level)
    assert sorted(np.concatenate([block.codewords for block in blocks])) == list(range(owner.max() + 1))
    assert (np.bincount(owner[owner >= 0]) == 8).all()
    assert modules.shape == owner.shape == (17 + 4 * version,) * 2
    assert not (owner[codewords.finders(version)[0]] >= 0).any()


def test_the_codewords_read_through_the_map_are_the_published_ones():
    """`P-K7-0042-0017-R` at 1-Q: CHECKS section 2, computed with qrcode 8.2 and segno 1.6.6."""
    published = bytes.fromhex("20 84 8E 71 7C D4 02 08 30 00 0D 3A 80 CA 31 2B BE 43 43 79 33 B0 18 CE 41 7D")
    modules = codewords.drawn(TEXT.encode(), 1, "Q", 0)
    row, column = np.mgrid[:N, :N]
    unmasked = modules ^ ((row + column) % 2 == 0)
    owner = codewords.codeword_of(1, "Q")
    ones = [int(unmasked[owner == number].sum()) for number in range(26)]
    assert ones == [byte.bit_count() for byte in published]


@pytest.mark.parametrize("ink", [0.0, 0.2, 0.3, 0.45, 0.6, 0.75])
def test_contrast_is_what_lies_between_ink_and_the_lightest_place(ink):
    contrast = value(graded(drawn(squares(), ink=ink * 0.9, paper=0.9)), "symbol contrast")
    assert contrast.value == pytest.approx(1 - ink, abs=0.01)


@pytest.mark.parametrize(
    ("light", "modulation", "grade"), [(0.8, 0.6, 4.0), (0.7, 0.4, 3.0), (0.65, 0.3, 2.0), (0.6, 0.2, 1.0)]
)
def test_a_pale_module_in_every_codeword_is_the_modulation(light, modulation, grade):
    modules, owner = squares(), codewords.codeword_of(1, "Q")
    made = drawn(modules)
    for number in range(26):
        row, column = next(at for at in np.argwhere(owner == number) + Q if not modules[tuple(at)])
        made[row * DOTS : (row + 1) * DOTS, column * DOTS : (column + 1) * DOTS] = light + 0.001
    found = value(graded(made), "modulation")
    assert found.value == pytest.approx(modulation, abs=0.01)
    assert found.grade == pytest.approx(grade, abs=0.1)


def test_a_pale_module_in_one_codeword_is_borne_by_the_error_correction():
    modules, owner = squares(), codewords.codeword_of(1, "Q")
    row, column = next(at for at in np.argwhere(owner == 5) + Q if not modules[tuple(at)])
    made = drawn(modules)
    made[row * DOTS : (row + 1) * DOTS, column * DOTS : (column + 1) * DOTS] = 0.6
    assert value(graded(made), "modulation").grade == 4.0


@pytest.mark.parametrize("dots", [-3, -2, -1, 1, 2, 3, 4])
def test_growth_is_measured_to_a_tenth_of_a_dot(dots):
    found = value(graded(fattened(drawn(squares()), dots), dots_per_module=DOTS), "print growth")
    assert found.value * DOTS == pytest.approx(dots, abs=0.1)
    assert found.grade is None


@pytest.mark.parametrize(
    ("dots", "words"),
    [(3, "bars 3.0 dots fat: print darkness too high"), (-3, "bars 3.0 dots thin: print darkness too low")],
)
def test_ink_is_told_in_dots_where_they_are_known_and_else_in_percent(dots, words):
    made = fattened(drawn(squares()), dots)
    assert graded(made, dots_per_module=DOTS).advice[0].startswith(words)
    assert graded(made, dots_per_pixel=1).advice[0].startswith(words)
    assert graded(made).advice[0].startswith(words.replace("3.0 dots", "30 % of a module"))


@pytest.mark.parametrize("stretch", [1.0, 1.05, 1.09, 1.15])
@pytest.mark.parametrize("axis", ["wide", "tall"])
def test_a_stretched_axis_is_the_axial_nonuniformity(stretch, axis):
    made = drawn(squares(), 12)
    side = round(made.shape[0] * stretch)
    made = cv2.resize(
        made, (side, made.shape[0]) if axis == "wide" else (made.shape[0], side), interpolation=cv2.INTER_LINEAR
    )
    stretch = side / (33 * 12)
    found = graded(made)
    assert value(found, "axial nonuniformity").value == pytest.approx(2 * (stretch - 1) / (stretch + 1), abs=0.01)
    if stretch > 1.08:
        assert f"{'wider than tall' if axis == 'wide' else 'taller than wide'}" in found.advice[0]


@pytest.mark.parametrize("dots", [0, 2, 4, 5])
def test_a_row_that_slipped_is_the_grid_nonuniformity(dots):
    made = drawn(squares())
    for row in (9, 13):
        band = slice((row + Q) * DOTS, (row + Q + 1) * DOTS)
        made[band] = np.roll(made[band], dots, axis=1)
    assert value(graded(made), "grid nonuniformity").value == pytest.approx(dots / DOTS, abs=0.05)


@pytest.mark.parametrize("wrong", [0, 1, 2, 3, 4])
def test_modules_lost_from_a_finder_pattern_are_the_pattern_damage(wrong):
    modules = squares()
    modules[Q + 7, Q : Q + wrong] = True
    found = value(graded(drawn(modules)), "fixed pattern damage")
    assert found.value == 4 - wrong


def test_a_module_lost_from_the_dotted_line_is_more_than_it_bears():
    modules = squares()
    modules[Q + 6, Q + 9] ^= True
    assert value(graded(drawn(modules)), "fixed pattern damage").value == 0.0


@pytest.mark.parametrize("wrong", [0, 1, 2, 3, 4])
def test_print_in_the_margin_counts_by_the_module(wrong):
    modules = squares()
    modules[Q - 3, Q + 2 : Q + 2 + wrong] = True
    found = graded(drawn(modules))
    assert value(found, "quiet zone").value == wrong
    assert found.number == 4 - wrong
    assert wrong == 0 or found.advice[0].startswith(f"{wrong} modules of the margin are not light")


def test_a_torn_margin_fails_and_the_symbols_own_contrast_stays():
    made = drawn(squares())
    made[:, : (Q - 2) * DOTS] = 0.0
    found = graded(made)
    assert (found.letter, value(found, "quiet zone").value) == ("F", 2 * (N + 8))
    assert value(found, "symbol contrast").value == 1.0


def test_a_picture_that_ends_in_the_margin_asks_for_another():
    made = drawn(squares())[:, (Q - 3) * DOTS :]
    assert graded(made).advice[0].startswith("the picture ends within the margin")


def test_light_that_falls_on_one_side_is_told_as_that():
    made = drawn(squares(), ink=0.1) * np.linspace(0.45, 1, 33 * DOTS)
    found = graded(made)
    assert found.letter != "A"
    assert any("light the label evenly" in words for words in found.advice)


@pytest.mark.parametrize("spoil", [
    lambda amount: drawn(squares(), ink=amount * 0.15),
    lambda amount: drawn(with_wrong_codewords(amount)),
    lambda amount: fattened(drawn(squares()), amount + 1),
    lambda amount: blurred(drawn(squares()), 1 + 3 * amount),
    lambda amount: cv2.resize(drawn(squares()), None, fx=1 + 0.03 * amount, fy=1),
], ids=["contrast", "codewords", "growth", "blur", "stretch"])  # fmt: skip
def test_more_of_a_defect_is_never_graded_better(spoil):
    numbers = [graded(spoil(amount)).number for amount in range(6)]
    assert numbers == sorted(numbers, reverse=True)
    assert numbers[0] == 4.0 and numbers[-1] < 4.0


def test_a_symbol_of_another_encoder_is_graded_by_the_decoders_own_count():
    """Ten characters fill the bit stream so that segno pads otherwise than our encoder (CHECKS section 2)."""
    import segno

    code = segno.make_qr("B-K7-003-J", version=1, error="q", boost_error=False)
    found = graded(drawn(np.pad(np.array(code.matrix, bool), Q)))
    assert (found.text, found.number) == ("B-K7-003-J", 4.0)
