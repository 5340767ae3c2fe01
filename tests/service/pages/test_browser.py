"""The station in a real browser: shape and word, keys and touch, and NOT CHECKED when the service is gone."""

import os

import pytest

from tests.entry import PIN
from tests.practice import MANAGER, NURSE, TECHNICIAN, TarnBridge, patient


def test_a_stop_is_shown_by_word_shape_and_next_step_the_moment_it_happens(page):
    shown, bridge, _ = page
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    shown.goto("/stations/theatre-1")
    shown.wait_for_selector("#link:text-is('connected')")
    bridge.scans("theatre-1", NURSE, patient(812), pack)
    shown.wait_for_selector("#verdict[data-verdict=stop]")
    assert shown.inner_text("#word") == "STOP"
    assert shown.inner_text("#headline") == "This pack is not released."
    assert shown.inner_text("#next") == "Fetch another pack, and scan it before opening."
    assert "M37 6h46l31 31" in shown.inner_html("#shape")
    assert shown.locator("#last li").count() == 3
    box = shown.locator(".next").bounding_box()
    assert box["y"] + box["height"] <= 800
    word = shown.locator("#word").bounding_box()
    assert word["height"] >= 80


def test_keys_and_touch_do_what_a_scanner_does(page):
    shown, bridge, _ = page
    shown.goto("/stations/wash-1")
    shown.wait_for_selector("#link:text-is('connected')")
    shown.keyboard.type("b-k7-003-j\n")
    shown.wait_for_selector("#verdict[data-verdict=go]")
    shown.click("button[data-code='K-DONE-P']")
    shown.wait_for_selector("#headline:text('Which wash load?')")
    assert shown.inner_text("#word") == "ASK"
    for button in shown.locator("button:visible").all():
        assert button.bounding_box()["height"] >= 48
    assert bridge.facts("refused") == []


def test_without_the_service_the_screen_says_not_checked_without_colour(page):
    shown, _, end = page
    shown.goto("/stations/theatre-1")
    shown.wait_for_selector("#link:text-is('connected')")
    end()
    shown.wait_for_selector("#verdict[data-verdict='not checked']", timeout=60_000)
    assert shown.inner_text("#word") == "NOT CHECKED"
    assert "paper rule" in shown.inner_text("#next")
    background = shown.evaluate("getComputedStyle(document.getElementById('verdict')).backgroundColor")
    assert background == "rgb(255, 253, 248)"


def test_a_go_is_withdrawn_live_when_its_load_is_held(page):
    shown, bridge, _ = page
    pack, load = bridge.ready()
    shown.goto("/stations/theatre-1")
    shown.wait_for_selector("#link:text-is('connected')")
    bridge.scans("theatre-1", NURSE, patient(812), pack)
    shown.wait_for_selector("#verdict[data-verdict=go]")
    bridge.act("hold", load=load, why="leak found")
    shown.wait_for_selector("#verdict[data-verdict=stop][data-late=true]")
    assert "leak found" in shown.inner_text("#detail")
    shown.get_by_role("button", name="YES", exact=True).click()
    shown.wait_for_selector("#headline:text('Acknowledged.')")


def test_a_load_is_released_from_its_page_by_a_person_with_a_badge(page):
    shown, bridge, _ = page
    one = bridge.new_set()
    bridge.wash([one])
    load = bridge.sterilise([bridge.pack(one)])
    shown.goto(f"/loads/{load}")
    form = shown.locator(f"form[data-api='/api/loads/{load}/release']")
    form.locator("input[name=by]").fill("B-K7-003-J")
    form.locator("button").click()
    shown.wait_for_selector("text=This person may not release loads.")
    form.locator("input[name=by]").fill(NURSE)
    form.locator("button").click()
    shown.wait_for_selector(".tag:text-is('released')")
    assert bridge.record("load", load).released_by == NURSE


@pytest.mark.parametrize("width", [1280, 800, 390])
def test_no_page_is_wider_than_its_screen(page, width):
    shown, bridge, _ = page
    pack, load = bridge.ready("A set with rather a long name, as long as people give them")
    shown.set_viewport_size({"width": width, "height": 800})
    for address in (
        "/",
        f"/packs/{pack}",
        f"/loads/{load}",
        "/loads",
        f"/recalls/{load}",
        "/stations/theatre-1",
        "/stations/unloading-1",
    ):
        shown.goto(address)
        assert shown.evaluate("document.documentElement.scrollWidth") <= width, address


@pytest.mark.parametrize("size", [(1280, 800), (390, 844)], ids=["tablet", "phone"])
def test_the_proof_page_checks_a_proof_from_the_disk_and_refuses_a_changed_one(tmp_path, browser, size):
    """Opened as a file, with no service and no network."""
    from importlib import resources

    from service.ledger import proof as proofs
    from service.ledger.keys import make_key
    from service.ledger.memory import MemoryLedger
    from service.stations.sealing import Sealer
    from tests.practice import chosen

    bridge, key = TarnBridge.over(MemoryLedger(chosen())), make_key(tmp_path / "k.key")
    bridge.act("name key", by=None, key=key.public)
    pack, _ = bridge.ready()
    first = Sealer(bridge.desk, key).sign_now()
    bridge.new_set("Eye set")
    with bridge.desk.ledger.reading() as reader:
        good = proofs.written(proofs.custody_proof(reader, reader.get("pack", pack), key, "2026-03-04T12:00:00.000Z"))
    second = Sealer(bridge.desk, key).sign_now()
    with bridge.desk.ledger.reading() as reader:
        grown = proofs.written(proofs.consistency_proof(reader, first, second))
    bridge.close()
    bent = good.replace(b'"dry":true', b'"dry":null', 1)
    files = {
        "good": good,
        "grown": grown,
        "bent": bent,
        "spaced": good.replace(b",", b", ", 1),
        "short": grown[:-200] + b"]}\n",
        "none": b"hello",
    }
    page_file = tmp_path / "proof.html"
    page_file.write_bytes(resources.files("service.pages").joinpath("static/proof.html").read_bytes())
    shown = browser.new_page(viewport={"width": size[0], "height": size[1]})
    shown.goto(page_file.as_uri())
    said = {}
    for name, data in files.items():
        (tmp_path / f"{name}.proof").write_bytes(data)
        shown.evaluate("document.getElementById('said').textContent = ''")
        shown.set_input_files("#file", tmp_path / f"{name}.proof")
        shown.wait_for_selector("#said:not(:empty)")
        said[name] = (shown.inner_text("#said"), shown.inner_text("#why"), shown.get_attribute("#verdict", "class"))
    shown.fill("#trusted", "0123456789abcdef")
    shown.set_input_files("#file", tmp_path / "good.proof")
    shown.wait_for_selector("#why:has-text('not the key')")
    shown.fill("#trusted", key.public[:16])
    shown.wait_for_selector("#said:has-text('The proof holds')")
    assert shown.evaluate("document.documentElement.scrollWidth <= innerWidth")
    if os.environ.get("FOLDMARK_PICTURES"):
        shown.screenshot(path=f"{os.environ['FOLDMARK_PICTURES']}/proof-{size[0]}.png")
    assert said["good"] == (
        "The proof holds",
        f"{pack}: {good.count(b'noted_at') - 1} facts, all in the record of site K7. No gap in the record.",
        "go",
    )
    assert said["grown"][0] == "The proof holds"
    assert said["bent"][:2] == (
        "The proof does not hold",
        next(f"fact {n} was changed: its hash does not hold." for n in range(1, 99) if f"fact {n} " in said["bent"][1]),
    )
    assert "one form" in said["spaced"][1]
    assert [said[name][2] for name in ("bent", "spaced", "short", "none")] == ["stop"] * 4


def test_packing_shows_the_sheet_in_pictures_and_what_is_counted(page):
    shown, bridge, _ = page
    one = bridge.new_set()
    bridge.wash([one])
    shown.goto("/stations/packing-1")
    shown.wait_for_selector("#link:text-is('connected')")
    bridge.scans("packing-1", TECHNICIAN, one, "YES")
    shown.wait_for_selector("#sheet li[data-state=asked] svg")
    assert shown.locator("#sheet li").count() == 4
    assert shown.locator("#sheet li[data-state=asked]").all_inner_texts() == [
        "2 Extraction forceps",
        "1 Root tip forceps",
    ]
    assert shown.locator("#sheet svg").count() == 4
    bridge.scans("packing-1", "YES", "2", "DONE")
    shown.wait_for_selector("#sheet li[data-state=found]")
    shown.wait_for_selector("#sheet li[data-state=asked] >> text=Luxator")
    bridge.scans("packing-1", "2", "DONE", "YES")
    shown.wait_for_selector("#sheet li[data-state=short] >> text=Luxator")
    assert shown.get_attribute("#sheet li[data-state=short]", "data-counted") == "2 found"
    for width, height in ((1280, 800), (800, 1280), (390, 844)):
        shown.set_viewport_size({"width": width, "height": height})
        assert shown.evaluate("document.documentElement.scrollWidth") <= width
        box = shown.locator("#sheet").bounding_box()
        assert box["x"] + box["width"] <= width
    bridge.scan("packing-1", "NO")
    shown.wait_for_selector("#sheet", state="hidden")


def test_every_drawing_stays_in_its_box_with_its_stroke(page):
    from service.pages.instruments import DRAWINGS

    shown, _, _ = page
    boxes = shown.evaluate(
        """drawings => drawings.map(inside => {
          document.body.innerHTML = `<svg viewBox="0 0 120 60" width="120" height="60"><g>${inside}</g></svg>`;
          const box = document.querySelector("g").getBBox();
          return [box.x, box.y, box.x + box.width, box.y + box.height];
        })""",
        list(DRAWINGS.values()),
    )
    half = 1.25  # half the stroke
    out = [name for name, (left, top, right, bottom) in zip(DRAWINGS, boxes, strict=True)
           if left < half or top < half or right > 120 - half or bottom > 60 - half or right - left < 60]  # fmt: skip
    assert out == []


def test_a_manager_chooses_a_pin_signs_in_enrols_a_tablet_and_releases_with_the_pin(closed):
    (office, tablet), bridge, entry = closed
    one = bridge.new_set()
    bridge.wash([one])
    load = bridge.sterilise([bridge.pack(one)])
    tablet.goto("/stations/theatre-1")
    assert tablet.url.endswith("/sign-in?next=/stations/theatre-1")
    office.goto(f"/start#{entry.doors.pin_link(MANAGER)}")
    office.fill("input[name=pin]", PIN)
    office.click("button:text('Keep it')")
    office.wait_for_url("**/sign-in")
    office.fill("input[name=badge]", MANAGER)
    office.fill("input[name=pin]", "300000")
    office.keyboard.press("Enter")
    office.wait_for_selector("[data-said]:has-text('do not fit together')")
    office.fill("input[name=pin]", PIN)
    office.keyboard.press("Enter")
    office.wait_for_selector("a:text('People')")
    office.click("a:text('People')")
    office.fill("form[data-door='/api/devices'] input[name=name]", "Tablet in theatre")
    office.fill("form[data-door='/api/devices'] input[name=pin]", PIN)
    office.click("button:text('Make a one-time code')")
    said = office.wait_for_selector("form[data-door='/api/devices'] [data-said]:has-text('/enrol')").inner_text()
    tablet.goto("/enrol")
    tablet.fill("input[name=code]", said.rsplit(" ", 1)[1].lower())
    tablet.click("button:text('Enrol')")
    tablet.wait_for_url("**/stations")
    tablet.goto("/stations/theatre-1")
    tablet.wait_for_selector("#link:text-is('connected')")
    tablet.keyboard.type(f"{NURSE.lower()}\n")
    tablet.wait_for_selector("#verdict[data-verdict=go]")
    tablet.goto("/")
    assert "/sign-in" in tablet.url
    office.goto(f"/loads/{load}")
    office.fill("form[data-api$='/release'] input[name=pin]", PIN)
    office.click("button:text('Release')")
    office.wait_for_selector(".tag:text-is('released')")
    assert bridge.facts("released")[0].by == MANAGER
    office.click("button:text('Sign out')")
    office.wait_for_url("**/sign-in")
    office.goto(f"/loads/{load}")
    assert "/sign-in" in office.url
