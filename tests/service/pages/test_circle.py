"""From the wash to a patient in a real browser: by keys alone, by touch alone, on two tablets, and past a killed service."""

import httpx
import pytest

from label_templates import codes
from service.api.app import make_app
from service.custody.chain import custody
from service.pages.routes import add_pages
from tests.entry import Entry
from tests.faults.load import Service
from tests.practice import NURSE, SHELF, TECHNICIAN, TarnBridge, card, patient, steam_load, wash_load
from tests.served import running

SET, UNKNOWN = (codes.set_code("K7", number).text for number in (1, 9999))
LONG = 60_000
"""Milliseconds in which anything comes on a busy machine."""
SCANS = "**/api/scans"


@pytest.fixture
def bridge(tmp_path):
    """A practice with one set and one named patient."""
    made = TarnBridge(tmp_path)
    made.new_set()
    return made


def at_station(page, station):
    page.goto(f"/stations/{station}")
    page.wait_for_selector("#link:text-is('connected')", timeout=LONG)


def says(page, headline):
    page.wait_for_selector(f"#headline:text({headline!r})", timeout=LONG)


def keyed(page, text, delay=0):
    """Type it and press Enter."""
    with page.expect_response(SCANS, timeout=LONG):
        page.keyboard.type(f"{text.lower()}\n", delay=delay)


def tabbed(page, *words):
    """Go to each card with Tab, and press it with Enter."""
    for word in words:
        for _ in range(80):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.dataset.word") == word:
                break
        with page.expect_response(SCANS, timeout=LONG):
            page.keyboard.press("Enter")


def touched(page, *titles):
    """Touch each: a card by its word, or what is offered under a title that begins so."""
    for title in titles:
        button = page.locator(f"button[data-word='{title}'], #offers button:has-text('{title}')").first
        with page.expect_response(SCANS, timeout=LONG):
            button.tap(timeout=LONG)


def opened(bridge, pack):
    with bridge.desk.ledger.reading() as reader:
        found = custody(reader.state, reader.state.pack(pack))
    return found["state"], found["patients"], found["gaps"]


def test_a_set_goes_from_the_wash_to_a_patient_by_keys_alone(bridge, browser):
    with running(make_app(bridge.desk, add_pages)) as service:
        page = browser.new_page(base_url=service.url)
        at_station(page, "wash-1")
        for code in (TECHNICIAN, wash_load(1), SET):
            keyed(page, code)
        tabbed(page, "DONE", "PASS")
        says(page, "Wash load 0001 passed.")
        at_station(page, "packing-1")
        keyed(page, TECHNICIAN)
        keyed(page, SET, delay=90)
        tabbed(page, "YES", "YES", "YES", "YES")
        keyed(page, "24-117", delay=90)
        tabbed(page, "DONE")
        pack = bridge.pack_of(SET)
        keyed(page, pack)
        says(page, "Dental extraction A is labelled.")
        at_station(page, "loading-1")
        for code in (TECHNICIAN, steam_load(1), pack):
            keyed(page, code)
        tabbed(page, "DONE", "1")
        says(page, "Load 0001 has started.")
        bridge.wait(40)
        at_station(page, "unloading-1")
        for code in (TECHNICIAN, steam_load(1)):
            keyed(page, code)
        tabbed(page, "END", "PASS")
        keyed(page, pack)
        tabbed(page, "DONE")
        says(page, "Load 0001: all 1 packs accounted for.")
        bridge.judge(steam_load(1))
        at_station(page, "office-1")
        for code in (NURSE, steam_load(1)):
            keyed(page, code)
        tabbed(page, "YES")
        says(page, "Load 0001 is released.")
        bridge.wait(40)
        at_station(page, "store-1")
        for code in (TECHNICIAN, SHELF, pack):
            keyed(page, code)
        at_station(page, "theatre-1")
        for code in (NURSE, patient(812), pack):
            keyed(page, code)
        tabbed(page, "TURNED")
        says(page, "Dental extraction A is open.")
    assert opened(bridge, pack) == ("opened", [patient(812)], [])
    assert bridge.facts("refused") == []


def test_a_set_goes_from_the_wash_to_a_patient_by_touch_alone(bridge, browser):
    with running(make_app(bridge.desk, add_pages)) as service:
        named = {"id": bridge.new_id(), "code": patient(812), "name": "Milo", "species": "cat"}
        assert httpx.post(f"{service.url}/api/patients", json=named).status_code == 200
        context = browser.new_context(base_url=service.url, has_touch=True, viewport={"width": 800, "height": 1280})
        page = context.new_page()
        for station, titles, ends in (
            ("wash-1", ["Badge 003", "Washer 1, load 0001", "Dental extraction A", "DONE", "PASS"], "Wash load 0001 passed."),
            ("packing-1", ["Badge 003", "Dental extraction A", "YES", "YES", "YES", "YES", "2", "4", "DONE", "DONE", "Dental extraction A"],
             "Dental extraction A is labelled."),
            ("loading-1", ["Badge 003", "Steriliser 1, load 0001", "Dental extraction A", "DONE", "1"], "Load 0001 has started."),
            ("unloading-1", ["Badge 003", "Steam load 0001", "END", "PASS", "Dental extraction A", "DONE"], "Load 0001: all 1 packs accounted for."),
            ("store-1", ["Badge 003", "Shelf 9", "Dental extraction A", "YES"], "Dental extraction A is on shelf 9."),
            ("office-1", ["Badge 005", "Steam load 0001", "YES"], "Load 0001 is released."),
            ("theatre-1", ["Badge 005", "Milo", "Dental extraction A", "TURNED"], "Dental extraction A is open."),
        ):  # fmt: skip
            at_station(page, station)
            touched(page, *titles)
            says(page, ends)
            if station == "unloading-1":
                bridge.judge(steam_load(1))
            bridge.wait(19)
    pack = bridge.facts("opened")[0].pack
    assert opened(bridge, pack) == ("opened", [patient(812)], [])
    assert bridge.facts("refused") == []


def test_two_tablets_at_one_station_show_the_same(bridge, browser):
    with running(make_app(bridge.desk, add_pages)) as service:
        tablets = [browser.new_context(base_url=service.url).new_page() for _ in range(2)]
        for tablet in tablets:
            at_station(tablet, "wash-1")
        for number, code in enumerate((TECHNICIAN, wash_load(1), SET, UNKNOWN)):
            keyed(tablets[number % 2], code)
        for tablet in tablets:
            says(tablet, "This code is not in the ledger.")
        shown = [
            tablet.evaluate("['verdict', 'last', 'open-number', 'who', 'offers'].map(id => document.getElementById(id).innerText)")
            for tablet in tablets
        ]  # fmt: skip
    assert shown[0] == shown[1]
    assert shown[0][2] == "1 sets"


def test_a_killed_service_leaves_the_screen_unchecked_and_its_return_finds_the_work_where_it_was(bridge, browser):
    bridge.wash([SET])
    tablet = {"name": "foldmark_device", "value": Entry(bridge.desk).device(), "domain": "127.0.0.1", "path": "/"}
    bridge.close()
    service = Service(bridge.path)
    try:
        page = browser.new_page(base_url=f"http://127.0.0.1:{service.port}")
        page.context.add_cookies([tablet])
        at_station(page, "packing-1")
        for code in (TECHNICIAN, SET, card("YES"), card("YES")):
            keyed(page, code)
        says(page, "Elevators: 3?")
        service.kill()
        page.wait_for_selector("#verdict[data-verdict='not checked']", timeout=LONG)
        assert page.inner_text("#link") == "not connected"
        service = Service(bridge.path, port=service.port)
        says(page, "Elevators: 3?")
        page.wait_for_selector("#link:text-is('connected')", timeout=LONG)
        assert page.inner_text("#open-number") == "2 of 4"
        assert page.inner_text("#who") == TECHNICIAN
        keyed(page, card("YES"))
        says(page, "Gauze: 10?")
    finally:
        service.kill()
