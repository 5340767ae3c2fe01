"""The network is away: scans wait in the tablet, in order, never a go; they go once, and what they were answered is shown."""

import json
from functools import partial

import pytest
from playwright.sync_api import Route

from service.api.app import make_app
from service.custody.facts import moment
from service.pages.routes import add_pages
from tests.entry import PIN, Entry
from tests.practice import NURSE, TECHNICIAN, TarnBridge, card, patient, wash_load
from tests.served import running

LONG = 60_000
"""Milliseconds in which anything comes on a busy machine."""
KEPT = """() => new Promise((told, failed) => {
  const open = indexedDB.open("foldmark", 1);
  open.onsuccess = () => {
    const all = open.result.transaction("scans").objectStore("scans").getAll();
    all.onsuccess = () => told(all.result);
    all.onerror = failed;
  };
  open.onerror = failed;
})"""
"""What waits in the tablet."""


@pytest.fixture
def tablet(tmp_path, browser):
    """A tablet at a running Tarn Bridge: its page, the practice, and the bodies of the scans it has sent."""
    bridge = TarnBridge(tmp_path)
    with running(make_app(bridge.desk, add_pages)) as service:
        page = browser.new_context(base_url=service.url, viewport={"width": 1280, "height": 800}).new_page()
        sent, errors = [], []
        page.context.on(
            "request", lambda told: sent.append(told.post_data_json) if told.url.endswith("/scans") else None
        )
        page.on("pageerror", lambda error: errors.append(str(error)))
        yield page, bridge, sent
        page.context.close()
        assert errors == []


def ready(page, station="wash-1"):
    page.goto(f"/stations/{station}")
    page.wait_for_selector("#link:text-is('connected')", timeout=LONG)


def scan(page, *scans):
    for code in scans:
        page.keyboard.type(f"{code}\n")


def waits(page, words):
    page.wait_for_selector(f"#waiting:text({words!r})", timeout=LONG)


def test_scans_made_offline_wait_while_the_page_is_gone_and_are_written_in_their_order(tablet):
    page, bridge, sent = tablet
    sets = [bridge.new_set(f"Set {number}") for number in range(2)]
    ready(page)
    scan(page, TECHNICIAN)
    page.wait_for_selector("#verdict[data-verdict=go]", timeout=LONG)
    page.context.set_offline(True)
    for number, code in enumerate((wash_load(1), *sets), 1):
        scan(page, code)
        waits(page, "waiting: 1 scan" if number == 1 else f"waiting: {number} scans")
        assert page.inner_text("#word") == "NOT CHECKED"
        assert page.inner_text("#headline") == f"{code} is not checked."
    kept = page.evaluate(KEPT)
    assert [scan["code"] for scan in kept] == [wash_load(1), *sets]
    page.goto("about:blank")  # not a reload, nor a closed page: either may send once more when the network is back
    page.context.set_offline(False)
    sent.clear()
    page.goto("/stations/wash-1")
    page.wait_for_selector("#notice:has-text('What waited was sent: 3 GO.')", timeout=LONG)
    page.wait_for_selector("#headline:text('Set 1 is in the wash.')", timeout=LONG)
    assert page.inner_text("#open-number") == "2 sets"
    assert page.evaluate(KEPT) == []
    assert [(scan["id"], scan["seen_at"]) for scan in sent] == [(scan["id"], scan["seen_at"]) for scan in kept]
    facts = [fact for fact in bridge.facts("wash_loaded") if fact.load == wash_load(1)]
    assert [fact.set for fact in facts] == sets
    assert sorted(scan["seen_at"] for scan in kept) == [scan["seen_at"] for scan in kept]
    for scan_sent in sent:
        assert moment(scan_sent["sent_at"]) > moment(scan_sent["seen_at"])


def test_a_stop_among_what_waited_is_told_though_a_go_came_after_it(tablet):
    page, bridge, _ = tablet
    one = bridge.new_set()
    ready(page)
    scan(page, TECHNICIAN, wash_load(1))
    page.wait_for_selector("#headline:has-text('is open')", timeout=LONG)
    page.context.set_offline(True)
    scan(page, "S-K7-9999-8", one)
    waits(page, "waiting: 2 scans")
    page.context.set_offline(False)
    page.wait_for_selector("#verdict[data-verdict=go]", timeout=LONG)
    assert page.inner_text("#notice").splitlines()[0] == "What waited was sent: 1 GO, 1 STOP."
    assert "S-K7-9999-8: STOP. This code is not in the ledger." in page.inner_text("#notice")
    page.locator("#why summary").click()
    assert page.inner_text("#why-headline") == "This code is not in the ledger."


@pytest.mark.parametrize(
    ("status", "kept"), [(422, False), (403, False), (401, True), (429, True), (503, True)], ids=str
)
def test_a_scan_that_is_refused_is_shown_and_dropped_and_one_that_may_come_later_waits(tablet, status, kept):
    page, _, sent = tablet
    problem = json.dumps({"title": "No", "detail": "it may not: ask a manager", "status": status})
    ready(page)
    page.route(
        "**/api/scans",
        lambda route: route.fulfill(status=status, body=problem, content_type="application/problem+json"),
    )
    scan(page, TECHNICIAN)
    if not kept:
        page.wait_for_selector(
            f"#notice:has-text('{TECHNICIAN} was not taken: it may not: ask a manager')", timeout=LONG
        )
        assert page.inner_text("#word") == "NOT CHECKED"
        assert page.evaluate(KEPT) == []
        assert len(sent) == 1
        return
    waits(page, "waiting: 1 scan")
    assert page.is_visible("#shut a:text('Sign in')") is (status == 401)
    page.unroute("**/api/scans")
    page.wait_for_selector("#headline:has-text('Badge 003 is working here.')", timeout=LONG)
    assert len({one["id"] for one in sent}) == 1
    assert page.is_hidden("#shut")


def test_an_answer_that_is_none_of_ours_loses_no_scan(tablet):
    """A hotel's sign-in page answers everything with a page of its own."""
    page, _, _ = tablet
    ready(page)
    for status in (200, 404):
        told = {"status": status, "body": "<h1>Welcome</h1>", "content_type": "text/html"}
        page.route("**/api/scans", partial(Route.fulfill, **told))
        scan(page, TECHNICIAN)
        waits(page, "waiting: 1 scan")
        page.unroute("**/api/scans")
        page.wait_for_selector("#verdict[data-verdict=go]", timeout=LONG)


def test_two_tabs_send_what_waits_once(tablet):
    page, bridge, sent = tablet
    other = page.context.new_page()
    sets = [bridge.new_set(f"Set {number}") for number in range(6)]
    for tab in (page, other):
        ready(tab)
    scan(page, TECHNICIAN, wash_load(1))
    page.wait_for_selector("#headline:has-text('is open')", timeout=LONG)
    page.context.set_offline(True)
    scan(page, *sets)
    waits(page, "waiting: 6 scans")
    page.wait_for_timeout(1500)
    sent.clear()
    page.context.set_offline(False)
    for tab in (page, other):
        tab.wait_for_selector("#open-number:text('6 sets')", timeout=LONG)
    assert [one["code"] for one in sent] == sets
    assert [fact.set for fact in bridge.facts("wash_loaded")] == sets


def test_a_slow_answer_is_no_go_until_it_is_there(tablet):
    page, bridge, _ = tablet
    pack, _ = bridge.ready()
    ready(page, "theatre-1")
    scan(page, NURSE, patient(812))
    page.wait_for_selector("#headline:has-text('The case is open.')", timeout=LONG)

    held = []

    def hold(route):
        held.append(route)

    page.route("**/api/scans", hold)
    scan(page, pack)
    page.wait_for_selector("#verdict[data-verdict='not checked']", timeout=LONG)
    assert page.inner_text("#headline") == f"{pack} is not checked."
    assert len(held) == 1
    held[0].continue_()
    page.wait_for_selector("#headline:has-text('Open Dental extraction A')", timeout=LONG)
    assert page.inner_text("#waiting") == ""


def test_a_pin_is_neither_shown_nor_kept_in_the_tablet(tmp_path, browser):
    bridge = TarnBridge(tmp_path)
    entry = Entry(bridge.desk)
    entry.person(NURSE)
    one = bridge.new_set()
    bridge.wash([one])
    load = bridge.sterilise([bridge.pack(one)])
    with running(make_app(bridge.desk, add_pages, None, entry.doors)) as service:
        page = browser.new_context(base_url=service.url).new_page()
        page.context.add_cookies(
            [{"name": "foldmark_device", "value": entry.device(), "domain": "127.0.0.1", "path": "/"}]
        )
        ready(page, "office-1")
        scan(page, NURSE, load, card("YES"))
        page.wait_for_selector("#type-label:text('PIN')", timeout=LONG)
        assert (page.get_attribute("#typed", "type"), page.get_attribute("#typed", "inputmode")) == (
            "password",
            "numeric",
        )
        page.context.set_offline(True)
        scan(page, PIN)
        page.wait_for_selector("#notice:has-text('The PIN was not sent')", timeout=LONG)
        assert page.evaluate(KEPT) == []
        assert PIN not in page.evaluate(
            "JSON.stringify(localStorage) + JSON.stringify(sessionStorage) + document.body.innerText"
        )
        page.context.set_offline(False)
        page.wait_for_selector("#link:text-is('connected')", timeout=LONG)
        for digit in PIN:
            page.click(f"button[data-word='{digit}']")
        assert page.input_value("#typed") == PIN
        page.click("button[data-word='DONE']")
        page.wait_for_selector("#headline:has-text('Load 0001 is released.')", timeout=LONG)
        assert page.get_attribute("#typed", "type") == "text"
    assert bridge.facts("released")[0].by == NURSE


BURST = """code => {
    for (const key of [...code, "Enter"]) {
        const event = new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true });
        document.activeElement.dispatchEvent(event);
        if (!event.defaultPrevented && key !== "Enter") document.activeElement.value += key;
    }
}"""
"""The keys of a hand scanner, as fast as one sends them however slow this machine is."""


def test_a_hand_scanner_is_heard_while_the_pin_is_waited_for_and_leaves_what_was_typed(tablet):
    page, _, sent = tablet
    ready(page)
    page.keyboard.type("a reason half ty", delay=90)
    page.wait_for_timeout(200)
    page.evaluate(BURST, TECHNICIAN)
    page.wait_for_selector("#headline:has-text('Badge 003 is working here.')", timeout=LONG)
    assert page.input_value("#typed") == "a reason half ty"
    assert [one["code"] for one in sent] == [TECHNICIAN]
