"""Over HTTP everybody is answered in their own language; the record, and programs that name none, stay English."""

import asyncio
import json

import pytest
from starlette.testclient import TestClient

from service.api.app import make_app
from service.api.streams import Streams
from service.pages.routes import add_pages
from service.settings import SettingsError, load
from service.words.choice import for_a_page
from tests.practice import NURSE, TECHNICIAN, TarnBridge, patient, wash_load

GERMAN = {"Cookie": "foldmark_device=x; language=de"}


@pytest.fixture
def site(tmp_path):
    bridge = TarnBridge(tmp_path)
    with TestClient(make_app(bridge.desk, add_pages), raise_server_exceptions=False) as client:
        yield bridge, client


def scan(bridge, client, code, headers, station="wash-1", scan_id=None):
    body = {"id": scan_id or bridge.new_id(), "station": station, "code": code}
    return client.post("/api/scans", json=body, headers=headers)


def test_a_scan_is_answered_in_the_language_of_the_cookie_and_kept_in_english(site):
    bridge, client = site
    scan_id = bridge.new_id()
    german = scan(bridge, client, wash_load(1), GERMAN, scan_id=scan_id)
    assert (german.json()["headline"], german.headers["content-language"]) == ("Wer arbeitet hier?", "de")
    assert int(german.headers["content-length"]) == len(german.content)
    english = scan(bridge, client, wash_load(1), {}, scan_id=scan_id)
    assert english.json()["headline"] == "Who is working here?"
    assert german.json() | {"headline": "", "detail": "", "next": ""} == english.json() | {
        "headline": "",
        "detail": "",
        "next": "",
    }
    assert [fact.data["why"] for fact in bridge.facts("refused")] == []


def test_a_refusal_stands_in_the_record_in_english_whoever_asked(site):
    bridge, client = site
    bridge.scan("theatre-1", NURSE)
    answer = scan(bridge, client, "S-K7-0042-*", GERMAN, station="wash-1")
    assert answer.json()["verdict"] == "ask"
    bridge.scan("wash-1", TECHNICIAN)
    bridge.scan("wash-1", wash_load(1))
    answer = scan(bridge, client, "S-K7-0042-*", GERMAN)
    assert answer.json()["headline"] == "Dieser Code steht nicht im Protokoll."
    (refused,) = bridge.facts("refused")
    assert refused.data["why"].startswith("This code is not in the ledger.")


@pytest.mark.parametrize(
    ("headers", "headline"),
    [
        ({}, "Who is working here?"),
        ({"Accept-Language": "de-AT,de;q=0.9,en;q=0.5"}, "Wer arbeitet hier?"),
        ({"Accept-Language": "fr,de;q=0.9"}, "Who is working here?"),
        ({"Accept-Language": "de", "Cookie": "language=en"}, "Who is working here?"),
        ({"Cookie": "language=xx"}, "Who is working here?"),
        ({"Cookie": "mylanguage=de"}, "Who is working here?"),
        ({"Cookie": "language=de<script>"}, "Who is working here?"),
    ],
)
def test_a_program_is_answered_in_the_language_it_names_or_in_english(site, headers, headline):
    bridge, client = site
    assert scan(bridge, client, wash_load(1), headers).json()["headline"] == headline


def test_problems_screens_and_acts_are_said_too(site):
    bridge, client = site
    problem = client.get("/api/packs/P-K7-0042-0017-R", headers=GERMAN)
    assert problem.headers["content-type"] == "application/problem+json"
    assert problem.json()["detail"] == "unter P-K7-0042-0017-R wurde nie etwas angelegt oder begonnen: den Code prüfen"
    shown = client.get("/api/stations/wash-1", headers=GERMAN).json()
    assert (shown["headline"], shown["open"]["title"]) == ("Den eigenen Ausweis scannen.", "Hier ist nichts offen")
    body = {"id": bridge.new_id(), "by": TECHNICIAN, "why": "leak"}
    act = client.post("/api/machines/L-K7-1/stop", json=body, headers=GERMAN).json()
    assert act["headline"] == "Erfasst: Gerät stillgelegt."
    assert client.get("/api/sets", headers=GERMAN).json() == []


def test_two_screens_of_a_station_hear_of_it_each_in_its_language(site):
    bridge, _ = site

    async def both():
        streams = Streams(bridge.desk)
        streams.start()
        following = [streams.follow("theatre-1", language) for language in ("en", "de")]
        told = [[await anext(one)] for one in following]
        for code in (NURSE, patient(812)):
            await asyncio.to_thread(bridge.scans, "theatre-1", code)
            for one, heard in zip(following, told, strict=True):
                heard.append(await asyncio.wait_for(anext(one), 30))
        streams.stop()
        return [[json.loads(text.split("data: ")[1])["headline"] for text in heard] for heard in told]

    assert asyncio.run(both()) == [
        ["Scan your badge.", "Badge 005 is working here.", "The case is open."],
        ["Den eigenen Ausweis scannen.", "Ausweis 005 arbeitet hier.", "Der Eingriff ist offen."],
    ]


def test_a_page_speaks_the_tablets_language_else_the_practices():
    assert for_a_page([(b"cookie", b"language=de")], "en") == "de"
    assert for_a_page([(b"cookie", b"language=en")], "de") == "en"
    assert for_a_page([(b"accept-language", b"en")], "de") == "de"


def test_the_practice_chooses_a_language_that_there_is(tmp_path):
    file = tmp_path / "settings.toml"
    file.write_text('[practice]\nlanguage = "de"\n')
    assert load(file, {}).practice.language == "de"
    file.write_text('[practice]\nlanguage = "xx"\n')
    with pytest.raises(SettingsError, match="'xx' has no catalogue: choose among en, de"):
        load(file, {})
