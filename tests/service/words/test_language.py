"""A finished English sentence is recognised, and said in another language; what people wrote themselves stays."""

import time

import pytest

from service.words.answers import problem_in, screen_in
from service.words.catalogue import own_names, say_in
from service.words.language import Language

GERMAN = say_in("de")


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("This pack is not released.", "Diese Packung ist nicht freigegeben."),
        ("Dental A, turn 17, is waiting, and came out of steam load 0334. Nobody has released it.",
         "Dental A, Umlauf 17: wartend, aus Dampfcharge 0334. Niemand hat sie freigegeben."),
        ("Lid set, turn 1, was opened on 4 March at 10:12 for patient A-K7-000812-4.",
         "Lid set, Umlauf 1, wurde am 4. März um 10:12 für Patient A-K7-000812-4 geöffnet."),
        ("Load 0331, nothing against it so far; biological not yet read, due 2026-03-06; use by 4 March 2026; SHORT: Luxator 3 mm (2 of 3); opened by override.",
         "Charge 0331, bisher spricht nichts dagegen; Bioindikator noch nicht abgelesen, fällig 2026-03-06; verwenden bis 4. März 2026; UNVOLLSTÄNDIG: Luxator 3 mm (2 von 3); mit Ausnahme geöffnet."),
        ("Dental A, turn 1: waiting, held; last seen at store-1.",
         "Dental A, Umlauf 1: wartend, gesperrt; zuletzt gesehen an store-1."),
        ("Held: the strip inside P-K7-0042-0017-R was pale.", "Gesperrt: der Streifen in P-K7-0042-0017-R war blass."),
        ("The cycle of this load has not been judged. Load L-K7-1-0331-K has no verdict, and turned tape shows only that a pack went through a cycle.",
         "Der Zyklus dieser Charge ist nicht bewertet. Charge L-K7-1-0331-K hat keine Bewertung, und umgeschlagenes Band zeigt nur, dass eine Packung in einem Zyklus war."),
        ("DONE does not stand for a count. 2 × Extraction forceps, 1 × Luxator 3 mm.",
         "DONE ersetzt kein Zählen. 2 × Extraction forceps, 1 × Luxator 3 mm."),
        ("Scan a shelf, then packs.", "Ein Fach, dann Packungen scannen."),
        ("Shelf 2.", "Fach 2."),
        ("wet, torn", "nass, gerissen"),
        ("held and recalled", "gesperrt und zurückgerufen"),
        ("gauze: start 10 · end 9", "Tupfer: Anfang 10 · Ende 9"),
        ("opened 29 February 10:12", "geöffnet 29. Februar 10:12"),
        ("4 March 2026", "4. März 2026"),
        ("12.34", "12,34"),
        ("Theatre 1", "OP 1"),
    ],
)  # fmt: skip
def test_a_finished_sentence_is_said_in_german(english, german):
    assert GERMAN(english) == german


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Bella, dog (A-K7-000812-4)",
        "This set goes. Somebody wrote this, and that; so: it is free text.",
        "The door would not close, and Anna is away.",
        "P-K7-0042-0017-R",
        "134/3 immediate",
        '<img src=x onerror=alert(1)> "O\'Neil" & Ünï 🐕',
    ],
)
def test_what_people_wrote_stays_as_it_is(text):
    assert GERMAN(text) == text


def test_a_name_that_is_a_word_of_ours_is_still_a_name():
    assert GERMAN("waiting is on shelf 2.") == "waiting ist in Fach 2."


def test_english_is_what_was_written():
    assert say_in("en")("4 March 10:12") == "4 March 10:12"
    assert say_in("xx")("This pack is not released.") == "This pack is not released."


def test_a_language_calls_itself_by_its_own_name():
    assert own_names() == {"en": "English", "de": "Deutsch"}


def test_the_heavier_of_two_sentences_that_fit_is_the_right_one():
    language = Language("de", {"{name} is {state}.": "{name}: {state}!", "{name} is in the wash.": "{name} wird nass!"})
    assert language.say("Lid set is in the wash.") == "Lid set wird nass!"


@pytest.mark.parametrize(
    "text",
    [
        "a; b: c, d and e or f. " * 80,
        "X, turn 1, is " * 800,
        "wet, torn; held: " * 500,
        "(" * 5000,
        "wet. " * 2000,
        "5 " * 5000,
    ],
)
def test_no_text_takes_long(text):
    began = time.perf_counter()
    GERMAN(text)
    assert time.perf_counter() - began < 2


def test_a_screen_keeps_its_codes_and_keys():
    shown = {
        "verdict": "go", "headline": "Nothing open here", "detail": "", "next": "Go on.", "rule": "undo", "step": "count",
        "subject": "waiting", "open": {"title": "Load 0331", "number": "3 packs", "line": "2 of 3 out"},
        "last": [{"verdict": "go", "title": "Taken back.", "code": "K-UNDO-3", "at": None}], "sheet": {"set": "S"},
        "offers": [{"code": "S-K7-0001-N", "title": "Lid set", "note": "shelf 2, use by 31 August, SHORT"}], "about": [{"href": "/packs/x", "title": "Load 0331"}],
    }  # fmt: skip
    german = screen_in(GERMAN, shown)
    assert german["open"] == {"title": "Charge 0331", "number": "3 Packungen", "line": "2 von 3 heraus"}
    assert (german["headline"], german["next"], german["detail"]) == ("Hier ist nichts offen", "Weitermachen.", "")
    assert german["last"][0] == {"verdict": "go", "title": "Zurückgenommen.", "code": "K-UNDO-3", "at": None}
    assert german["offers"] == [
        {"code": "S-K7-0001-N", "title": "Lid set", "note": "Fach 2, verwenden bis 31. August, UNVOLLSTÄNDIG"}
    ]
    assert german["about"] == [{"href": "/packs/x", "title": "Charge 0331"}]
    assert {key: german[key] for key in ("verdict", "rule", "step", "subject", "sheet")} == {
        key: shown[key] for key in ("verdict", "rule", "step", "subject", "sheet")
    }


def test_a_problem_is_said_too():
    problem = problem_in(
        GERMAN, {"type": "about:blank", "title": "Not known", "status": 404, "detail": "this takes a manager: ask one"}
    )
    assert (problem["title"], problem["detail"]) == ("Unbekannt", "das darf nur die Leitung: dort fragen")
