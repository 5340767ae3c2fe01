"""The search: by code, by name, by a load's number, by patient now or before, and by days of the site's own."""

from datetime import date

import pytest
from starlette.testclient import TestClient

from label_templates import codes
from service.api.app import make_app
from service.custody.facts import stamp
from service.pages.days import bounds, days
from service.pages.find import MOST, search_page
from service.pages.looks import Looks
from service.pages.routes import add_pages
from tests.practice import NURSE, patient, wash_load

TODAY = date(2026, 11, 26)


def found(bridge, query):
    """What a search shows: by group, the titles and words of its rows."""
    with bridge.desk.ledger.reading() as reader:
        page = search_page(Looks(reader, stamp(bridge.at)), query)
    return (
        page
        if isinstance(page, str)
        else {group.title: [(row.title, row.words) for row in group.rows] for group in page.groups}
    )


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("2026-11-20", date(2026, 11, 20), date(2026, 11, 20)),
        ("2026-11-01..2026-11-20", date(2026, 11, 1), date(2026, 11, 20)),
        ("2026-11-20 .. 2026-11-01", date(2026, 11, 1), date(2026, 11, 20)),
        ("20 November", date(2026, 11, 20), date(2026, 11, 20)),
        ("20 nov 2025", date(2025, 11, 20), date(2025, 11, 20)),
        ("27 November", date(2025, 11, 27), date(2025, 11, 27)),
        ("29 February", date(2024, 2, 29), date(2024, 2, 29)),
        ("Today", TODAY, TODAY),
        ("yesterday..today", date(2026, 11, 25), TODAY),
    ],
)
def test_days_are_understood_as_people_write_them(text, first, last):
    assert days(text, TODAY) == (first, last)


@pytest.mark.parametrize("text", ["", "..", "2026-13-01", "31 November", "20 novum", "2026-11-20..", "a..b..c", "20", "may", "0 May", "1 May 0000"])  # fmt: skip
def test_what_names_no_day_is_none(text):
    assert days(text, TODAY) is None


def test_a_day_is_the_sites_own_whatever_the_clocks_do():
    from zoneinfo import ZoneInfo

    london = ZoneInfo("Europe/London")
    assert bounds(date(2026, 3, 29), date(2026, 3, 29), london) == (
        "2026-03-29T00:00:00.000Z",
        "2026-03-29T23:00:00.000Z",
    )
    assert bounds(date(2026, 7, 1), date(2026, 7, 2), london) == (
        "2026-06-30T23:00:00.000Z",
        "2026-07-02T23:00:00.000Z",
    )


def test_a_day_shows_the_packs_opened_the_loads_begun_and_the_cases(bridge):
    pack, _ = bridge.ready("Eye set 1")
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    bridge.wait(60 * 24)
    bridge.ready("Eye set 2", 2)
    day = found(bridge, "4 March")
    assert day["Packs opened"] == [("Eye set 1, turn 1", f"opened 4 March 08:44 for {patient(812)}")]
    assert [title for title, _ in day["Loads begun"]] == ["Wash load 0001", "Load 0001"]
    assert day["Cases"] == [("Case 0001", f"{patient(812)}; 4 March 08:44, still open; Eye set 1")]
    assert [title for title, _ in found(bridge, "today")["Loads begun"]] == ["Wash load 0002", "Load 0002"]
    assert len(found(bridge, "2026-03-04..2026-03-05")["Loads begun"]) == 4
    assert found(bridge, "2025-01-01") == {"Packs opened": [], "Loads begun": [], "Cases": []}


def test_a_load_is_found_by_its_number_as_people_say_it(bridge):
    bridge.ready(number=34)
    for text in ("34", "0034", "load 34", "Load 0034"):
        assert [title for title, _ in found(bridge, text)["Loads"]] == ["Load 0034", "Wash load 0034"], text
    assert found(bridge, "35") == {}


def test_a_patient_is_found_by_name_by_code_and_by_the_code_it_had_before(bridge):
    first, _ = bridge.ready("Eye set 1")
    bridge.scans("theatre-1", NURSE, patient(812), first, "TURNED", "DONE", "YES", "=nobody counted")
    assert bridge.act("identify patient", patient="PAT-9", was=patient(812))["verdict"] == "go"
    bridge.desk.beside(bridge.new_id(), lambda batch: batch.keep_name("PAT-9", "patient", "Milo", "cat"), {}).result(10)
    wanted = [("Case 0001", "Milo, cat (PAT-9); 4 March 08:44 to 4 March 08:45; Eye set 1")]
    for text in ("milo", "IL", "pat-9", patient(812).lower(), codes.case_code("K7", 1).text):
        assert found(bridge, text)["Cases"] == wanted, text


def test_a_whole_code_leads_to_its_page(bridge):
    pack, load = bridge.ready()
    assert found(bridge, f" {pack.lower()} ") == f"/packs/{pack}"
    assert found(bridge, load) == f"/loads/{load}"
    assert found(bridge, wash_load(1)) == f"/loads/{wash_load(1)}"


def test_nothing_found_and_nothing_asked_say_what_can_be_asked(on_disk):
    client = TestClient(make_app(on_disk.desk, add_pages))
    for query, said in (("zebra", "Nothing here goes by that."), ("", "What are you looking for?")):
        text = client.get("/search", params={"q": query}).text
        assert said in text and "2026-11-01..2026-11-20" in text
    assert "No pack was opened." in client.get("/search?q=yesterday").text


def test_more_than_a_page_holds_is_said(bridge, monkeypatch):
    from service.pages import find

    monkeypatch.setattr(find, "MOST", 3)
    for number in range(1, 5):
        bridge.scans("wash-1", NURSE, wash_load(number), bridge.new_set(f"Set {number}"))
    with bridge.desk.ledger.reading() as reader:
        group = find.search_page(Looks(reader, stamp(bridge.at)), "today").groups[1]
    assert (len(group.rows), group.note) == (3, "The first 3 are shown: take fewer days.")
    assert MOST == 200


def test_a_search_among_many_cases_and_names_finds_what_there_is(on_disk):
    """Twenty thousand patients, packs and cases."""
    from service.custody.records import Case, Pack
    from service.ledger.sqlite import connect
    from service.ledger.tables import KEEP, UPSERT, row_of

    one = on_disk.new_set("Eye set 1")
    db = connect(on_disk.path, read_only=False)
    db.execute("BEGIN")
    for number in range(20_000):
        at, whose = f"20{10 + number % 16}-{1 + number % 12:02d}-{1 + number % 28:02d}T09:00:00.000Z", f"PAT-{number}"
        case, pack = (
            Case(f"C-K7-X{number}", whose, at),
            Pack(f"P-K7-X{number}", one, number + 1, "soiled", at, opened_at=at, patient=whose),
        )
        db.execute(UPSERT["case"], ("K7", *row_of("case", case)))
        db.execute(UPSERT["pack"], ("K7", *row_of("pack", pack)))
        db.execute(KEEP["name"], ("K7", whose, "patient", f"Animal {number}", "dog"))
    db.execute("COMMIT")
    db.close()
    for query, least in (
        ("animal 19999", 1),
        ("PAT-12345", 1),
        ("2019-02-04..2019-02-20", 3),
        ("eye", 1),
        ("7 July 2016", 3),
    ):
        groups = found(on_disk, query)
        assert sum(len(rows) for rows in groups.values()) >= least, query
