"""What is done on the pages in a real browser behind closed doors: an override stood for, a count sheet changed."""

import numpy as np
from PIL import Image

from service.demo.cycles import dated, made_cycle
from service.steam.programme import programme
from tests.entry import PIN
from tests.practice import MANAGER, SURGEON, TECHNICIAN, steam_load
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


def at_load(page, load, summary, form):
    page.goto(f"/loads/{load}")
    page.click(f"summary:text-is('{summary}')")
    return f"form[data-file$='/{form}']" if form in {"cycle", "photos"} else f"form[data-api$='/{form}']"


def test_a_load_is_judged_by_a_file_or_by_what_somebody_typed_and_its_strip_photographed(closed, tmp_path):
    (office, _), bridge, entry = closed
    bridge.pump()
    bridge.air_removal_test()
    one = bridge.new_set()
    bridge.wash([one])
    pack, load = bridge.pack(one), steam_load(1)
    bridge.scans("loading-1", TECHNICIAN, load, pack, "DONE", "1")
    bridge.scans("unloading-1", TECHNICIAN, load, "END", "PASS", pack)
    sign_in(office, entry, MANAGER)
    form = at_load(office, load, "The cycle", "cycle")
    office.click(f"{form} button")
    office.wait_for_selector(f"{form} [data-said]:has-text('Choose a file')")
    office.fill(f"{form} textarea", "0 min 20\n10 min 134.5\n11 min 134.6\n12 min 134.6\n13 min 134.5\n15 min 100")
    office.click(f"{form} button")
    office.wait_for_selector(f"{form} [data-said]:has-text('does not say when it began')")
    office.fill(f"{form} input[name=why]", "gauge and clock")
    with office.expect_navigation():
        office.click(f"{form} button")
    assert (bridge.facts("cycle_judged")[0].data["basis"], bridge.facts("cycle_judged")[0].data["verdict"]) == (
        "readings",
        "pass",
    )
    log = tmp_path / "log.csv"
    log.write_bytes(
        dated(made_cycle(programme("134/3"), np.random.default_rng(2)), bridge.record("load", load).started_at)
    )
    form = at_load(office, load, "The cycle", "cycle")
    office.set_input_files(f"{form} input[type=file]", log)
    with office.expect_navigation():
        office.click(f"{form} button")
    assert bridge.facts("cycle_judged")[1].data["basis"] == "log"
    assert office.is_visible("text=kPa, dotted")
    photo = tmp_path / "strip.png"
    Image.new("RGB", (60, 40), "tan").save(photo)
    form = at_load(office, load, "A photo", "photos")
    office.set_input_files(f"{form} input[type=file]", photo)
    office.select_option(f"{form} select[name=pack]", pack)
    with office.expect_navigation():
        office.click(f"{form} button")
    office.wait_for_function("document.querySelector('.photos img')?.naturalWidth === 60")


def test_a_biological_is_placed_and_read_in_words_of_the_readers_language(closed):
    (office, _), bridge, entry = closed
    _, load = bridge.ready()
    sign_in(office, entry, MANAGER)
    office.context.add_cookies([{"name": "language", "value": "de", "domain": "127.0.0.1", "path": "/"}])
    form = at_load(office, load, "Ein Bioindikator", "indicators")
    office.fill(f"{form} input[name=lot]", "B-7")
    office.fill(f"{form} input[name=control_lot]", "B-7")
    with office.expect_navigation():
        office.click(f"{form} button")
    form = at_load(office, load, "Ein Bioindikator", "indicators/read")
    office.select_option(f"{form} select[name=control]", label="kein Wachstum")
    with office.expect_navigation():
        office.click(f"{form} button")
    told = bridge.facts("indicator_read")[-1].data
    assert (told["result"], told["control"], told["lot"]) == ("void", "no growth", "B-7")
