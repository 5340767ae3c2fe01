"""Codes: minted, parsed, and every wrong one refused with its reason."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_2, mod_37_36

from label_templates import codes
from label_templates.codes import CodeError

SITES = st.text("ABCDEFGHJK0123456789", min_size=2, max_size=2)
MINTED = st.one_of(
    st.builds(codes.set_code, SITES, st.integers(0, 9999)),
    st.builds(lambda site, n, turn: codes.pack_code(codes.set_code(site, n).text, turn), SITES, st.integers(0, 9999),
              st.integers(1, 9999)),
    st.builds(lambda site, m, n: codes.load_code(f"L-{site}-{m}", n), SITES, st.sampled_from("123456789AZ"), st.integers(0, 9999)),
    st.builds(lambda site, m, n: codes.load_code(f"W-{site}-{m}", n), SITES, st.sampled_from("123456789AZ"), st.integers(0, 9999)),
    st.builds(codes.badge_code, SITES, st.integers(0, 999)),
    st.builds(codes.shelf_code, SITES, st.integers(0, 999)),
    st.builds(codes.patient_code, SITES, st.integers(0, 999_999)),
    st.builds(codes.case_code, SITES, st.integers(0, 999_999)),
    st.builds(codes.instrument_code, SITES, st.integers(0, 99_999)),
    st.builds(codes.card_code, st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=1, max_size=10)),
)  # fmt: skip


@given(MINTED)
def test_every_minted_code_parses_to_itself(code):
    assert codes.parse(code.text) == code


@given(MINTED)
def test_every_minted_code_has_the_shape_told_for_its_kind_and_for_no_other(code):
    shapes = {letter for letter in "SPLWBHACIK" if re.search(codes.shape_of(letter), code.text)}
    assert shapes == {code.letter}
    assert re.search(codes.shape_of("S", code.letter), code.text)


@given(MINTED)
def test_python_stdnum_confirms_every_check_character(code):
    assert mod_37_2.is_valid(code.text.replace("-", ""))


@given(MINTED, st.data())
def test_any_single_substitution_is_caught(code, data):
    places = [i for i, letter in enumerate(code.text) if letter != "-"]
    place = data.draw(st.sampled_from(places))
    other = data.draw(st.sampled_from([x for x in codes.ALPHABET if x != code.text[place]]))
    assert not codes.is_code(code.text[:place] + other + code.text[place + 1 :])


@given(MINTED, st.data())
def test_any_swap_of_neighbours_is_caught(code, data):
    bare = code.text.replace("-", "")
    place = data.draw(st.integers(0, len(bare) - 2))
    if bare[place] == bare[place + 1]:
        return
    swapped = iter(bare[:place] + bare[place + 1] + bare[place] + bare[place + 2 :])
    assert not codes.is_code("".join(letter if letter == "-" else next(swapped) for letter in code.text))


@given(st.text(max_size=40))
def test_whatever_text_comes_only_a_code_error_is_raised(text):
    try:
        found = codes.parse(text)
    except CodeError as error:
        assert error.fault in {"shape", "alphabet", "check"}
    else:
        assert found.text == text


# ISO 7064 MOD 37-2, values computed with python-stdnum 2.2 (the project's CHECKS, section 1).
@pytest.mark.parametrize(
    ("body", "check"),
    [
        ("G123498654321", "H"), ("G123489654321", "Y"), ("079", "T"), ("PK700420017", "R"), ("SK70042", "*"), ("LK710331", "K"),
        ("WK710120", "1"), ("BK7003", "J"), ("KWET", "E"), ("KTORN", "V"), ("KPALE", "R"), ("KDONE", "P"), ("KPASS", "8"),
        ("KFAIL", "0"), ("KUNDO", "3"), ("PK700420079", "*"),
    ],
)  # fmt: skip
def test_the_check_character_equals_the_published_value(body, check):
    assert codes.check_character(body) == check == mod_37_2.calc_check_digit(body)


@pytest.mark.parametrize("body", ["A12425GABC1234002", "123AB"])
def test_the_near_miss_mod_37_36_is_another_character(body):
    assert codes.check_character(body) != mod_37_36.calc_check_digit(body)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "shape"), ("X-K7-0042-1", "shape"), ("S-K7-42-*", "shape"), ("S-K7-0042-A", "check"), ("s-K7-0042-*", "alphabet"),
        ("S-K7-0042", "shape"), ("S-K7-00*2-*", "shape"), ("P-K7-0042-0000-A", "check"), ("S-K7-0042-* ", "alphabet"),
        ("S-K7-٠٠٤٢-*", "alphabet"), ("P" * 21, "shape"), ("K-WET-R", "check"),
    ],
)  # fmt: skip
def test_an_error_says_which_of_shape_alphabet_and_check_was_wrong(text, fault):
    with pytest.raises(CodeError) as caught:
        codes.parse(text)
    assert caught.value.fault == fault


def test_the_star_is_accepted_in_last_place_only():
    assert codes.parse("S-K7-0042-*").number == 42
    assert codes.parse("P-K7-0042-0079-*").turn == 79
    assert not codes.is_code("S-K*-0042-7")


def test_turn_zero_is_refused_even_with_a_right_check_character():
    body = "P-K7-0042-0000"
    with pytest.raises(CodeError, match="turn 0"):
        codes.parse(f"{body}-{codes.check_character(body)}")


def test_a_code_of_another_kind_than_needed_says_so():
    with pytest.raises(CodeError, match="a set code, and a pack code is needed"):
        codes.parse_as("S-K7-0042-*", "P")


@pytest.mark.parametrize(
    "make",
    [
        lambda: codes.set_code("K7", 10_000), lambda: codes.set_code("K", 1), lambda: codes.pack_code("S-K7-0042-*", 0),
        lambda: codes.pack_code("S-K7-0042-*", 10_000), lambda: codes.load_code("L-K7", 1), lambda: codes.load_code("L-K7-1", -1),
        lambda: codes.card_code("TOOLONGAWORD"), lambda: codes.check_character("A*"),
    ],
)  # fmt: skip
def test_a_number_that_does_not_fit_is_refused_when_minting(make):
    with pytest.raises(CodeError):
        make()


def test_a_pack_leads_to_its_set_and_a_load_to_its_machine():
    assert codes.set_of_pack("P-K7-0042-0017-R").text == "S-K7-0042-*"
    assert codes.machine_of("L-K7-1-0331-K") == "L-K7-1"
    assert str(codes.parse("L-K7-1-0331-K")) == "L-K7-1-0331-K"
    assert codes.parse("W-K7-1-0120-1").kind == "wash load"
