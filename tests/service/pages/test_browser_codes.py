"""The browser checks a code as label_templates.codes does: the same texts pass, and the others fail for the same reason."""

import random

import pytest

from label_templates import codes
from label_templates.codes import ALPHABET, CodeError
from label_templates.labels import BENCH_CARDS
from tests.practice import SITE

ODD = ["", "P", "P-K7-0042-0000-8", "p-k7-0042-0017-r", "P-K7-0042-0017-R ", "P-K7-0042-0017-R\n", "P‐K7‐0042‐0017‐R", "A" * 21, "K--0", "ß", "P-K7-٠٠٤٢-0017-R",
       "X-K7-0001-1", "C-K7-01191-2", "🐈" * 15, "constructor", "L-K7-0-0331-K"]  # fmt: skip


def good():
    """Codes of every kind."""
    rng = random.Random(7)
    sets = [codes.set_code(SITE, rng.randrange(10_000)) for _ in range(100)]
    yield from sets
    for owner in sets:
        yield codes.pack_code(owner.text, rng.randrange(1, 10_000))
        yield codes.load_code(f"L-{SITE}-{rng.choice('19AZ')}", rng.randrange(10_000))
        yield codes.load_code(f"W-{SITE}-1", rng.randrange(10_000))
        yield codes.badge_code(SITE, rng.randrange(1000))
        yield codes.shelf_code(SITE, rng.randrange(1000))
        yield codes.patient_code(SITE, rng.randrange(1_000_000))
        yield codes.case_code(SITE, rng.randrange(1_000_000))
        yield codes.instrument_code(SITE, rng.randrange(100_000))


def spoilt(text, rng):
    """`text` with one character changed, left out, doubled, or two swapped."""
    at, letters = rng.randrange(len(text)), list(text)
    match rng.randrange(4):
        case 0:
            letters[at] = rng.choice(ALPHABET + "-.a")
        case 1:
            del letters[at]
        case 2:
            letters.insert(at, letters[at])
        case _:
            other = (at + 1) % len(letters)
            letters[at], letters[other] = letters[other], letters[at]
    return "".join(letters)


def fault(text):
    try:
        codes.parse(text)
    except CodeError as error:
        return error.fault
    return None


@pytest.fixture
def texts():
    rng = random.Random(11)
    whole = [code.text for code in good()] + [one.code for one in BENCH_CARDS]
    return whole + [spoilt(text, rng) for text in whole for _ in range(3)] + ODD


def test_the_browser_and_the_service_find_the_same_fault_in_every_text(page, texts):
    shown, _, _ = page
    shown.goto("/stations/wash-1")
    found = shown.evaluate(
        "texts => import('/static/codes.js').then(({ look }) => texts.map(text => look(text)))", texts
    )
    wanted = [fault(text) for text in texts]
    assert [one["fault"] for one in found] == wanted
    assert {None, "shape", "alphabet", "check"} == set(wanted)
    wrong = [(text, one["should"]) for text, one in zip(texts, found, strict=True) if one["fault"] == "check"]
    assert all(codes.is_code(text[:-1] + should) for text, should in wrong)
