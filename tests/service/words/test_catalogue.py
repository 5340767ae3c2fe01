"""Every text that people see stands in every catalogue, whole, and nothing else does."""

import re
from collections import Counter

import pytest

from service.words.catalogue import entries
from service.words.gather import gathered
from service.words.known import ENGLISH, languages
from service.words.template import HOLE, Template

ROUND = re.compile(r"%\((\w+)\)s")
OTHERS = [code for code in languages() if code != ENGLISH]
CARDS = {
    "DONE",
    "PASS",
    "FAIL",
    "YES",
    "NO",
    "UNDO",
    "WET",
    "TORN",
    "DROPPED",
    "OUT",
    "END",
    "PALE",
    "TURNED",
    "UNSURE",
    "RETURN",
    "UNUSED",
}
SAID_OTHERWISE = {"PALE"}  # the tag of a pack, not the card


@pytest.fixture(scope="module")
def texts():
    return gathered()


@pytest.mark.parametrize("code", OTHERS)
def test_every_text_is_in_the_catalogue_and_none_is_left_over(code, texts):
    known = entries(code)
    assert sorted(set(texts) - set(known)) == [], "bring the catalogue up to date: python -m service.words.gather"
    assert sorted(set(known) - set(texts)) == [], "bring the catalogue up to date: python -m service.words.gather"


@pytest.mark.parametrize("code", OTHERS)
def test_a_translation_keeps_every_hole(code):
    for text, said in entries(code).items():
        assert Counter(HOLE.findall(text)) == Counter(HOLE.findall(said)), text
        assert Counter(ROUND.findall(text)) == Counter(ROUND.findall(said)), text


@pytest.mark.parametrize("code", OTHERS)
def test_a_translation_keeps_the_words_on_the_cards_and_the_stop_at_the_end(code):
    for text, said in entries(code).items():
        if text in SAID_OTHERWISE:
            continue
        assert {*re.findall("[A-Z]+", text)} & CARDS == {*re.findall("[A-Z]+", said)} & CARDS, text
        assert (text[-1] in ".?") == (said[-1] in ".?"), text


def test_no_two_holes_touch_and_no_sentence_is_told_apart_by_its_holes_alone(texts):
    """Holes that touch cannot be told apart again."""
    assert [text for text in texts if "" in Template.of(text).literals[1:-1]] == []
    literals = Counter(Template.of(text).literals for text in texts)
    assert [text for text in texts if literals[Template.of(text).literals] > 1] == []


@pytest.mark.parametrize("code", OTHERS)
def test_nothing_is_ever_called_sterile(code):
    assert [
        said for said in entries(code).values() if re.search(r"\bsteril\b|\bsterile[mnrs]?\b", said, re.IGNORECASE)
    ] == []


def test_the_gatherer_finds_refusals_answers_errors_and_words_of_the_trade(texts):
    assert texts["This pack is not released."] == "service/custody/rules/theatre.py"
    assert texts["Do not use {name}."] == "service/stations/theatre.py"
    assert texts["Not signed in"] == "service/api/entry.py"
    assert texts["waiting"] == "service/custody/chain.py"
    assert "a pack that may be opened and is not there" not in texts
