"""What is done on the pages in a real browser behind closed doors: an override stood for, a count sheet changed."""

from tests.entry import PIN
from tests.practice import MANAGER, SURGEON
from tests.service.stations.steps import at_theatre, override, waiting


def sign_in(page, entry, badge):
    entry.doors.choose_pin(entry.doors.pin_link(badge), PIN, "127.0.0.1")
    page.goto("/sign-in")
    page.fill("input[name=badge]", badge)
    page.fill("input[name=pin]", PIN)
    page.keyboard.press("Enter")
    page.wait_for_url("**/")


def test_a_surgeon_stands_for_an_override_on_the_packs_page(closed):
    (office, _), bridge, entry = closed
    pack, _ = waiting(bridge)
    at_theatre(bridge, pack)
    override(bridge, pack)
    bridge.scan("theatre-1", "TURNED")
    sign_in(office, entry, SURGEON)
    office.goto(f"/packs/{pack}")
    assert office.is_visible(".tag:text('opened by override, unconfirmed')")
    form = "form[data-api$='/override/confirm']"
    office.fill(f"{form} input[name=pin]", "300000")
    office.click(f"{form} button")
    office.wait_for_selector(f"{form} [data-said]:has-text('do not fit together')")
    office.fill(f"{form} input[name=pin]", PIN)
    office.click(f"{form} button")
    office.wait_for_selector(".tag:text-is('opened by override')")
    assert office.query_selector(form) is None
    assert bridge.facts("override_confirmed")[0].by == SURGEON


def test_a_manager_changes_a_count_sheet_and_is_told_which_line_is_wrong(closed):
    (office, _), bridge, entry = closed
    one = bridge.new_set()
    before = bridge.record("set", one).sheet
    sign_in(office, entry, MANAGER)
    office.goto(f"/sets/{one}")
    office.click("summary")
    form = "form[data-api$='/change']"
    assert office.input_value(f"{form} textarea").strip().splitlines() == [f"{g}: {n} {line}" for g, line, n in before]
    office.fill(f"{form} textarea", "Forceps: 1 Extraction forceps\nno such line")
    office.fill(f"{form} input[name=why]", "one sent for repair")
    office.fill(f"{form} input[name=pin]", PIN)
    office.click(f"{form} button")
    office.wait_for_selector(f"{form} [data-said]:has-text('Line 2')")
    assert bridge.record("set", one).sheet == before
    office.fill(f"{form} textarea", "Forceps: 1 Extraction forceps")
    with office.expect_response("**/change"):
        office.click(f"{form} button")
    assert bridge.record("set", one).sheet == (("Forceps", "Extraction forceps", 1),)
    assert bridge.facts("set_changed")[0].data["why"] == "one sent for repair"
