"""The station in a real browser: shape and word, keys and touch, and NOT CHECKED when the service is gone."""

import os
import shutil
import threading

import pytest
import uvicorn

from service.api.app import make_app
from service.api.listen import free_port
from service.pages.routes import add_pages
from tests.practice import NURSE, TarnBridge, patient

CHROMIUM = shutil.which("chromium")
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
         "--disable-sync"]  # fmt: skip


@pytest.fixture
def page(tmp_path):
    """A page of a running Tarn Bridge in the system's Chromium, with the bridge and a way to end the service."""
    if CHROMIUM is None:
        assert os.environ.get("CI") != "true", "Chromium is missing"
        pytest.skip("Chromium is not installed")
    from playwright.sync_api import sync_playwright

    bridge = TarnBridge(tmp_path)
    bound = free_port("127.0.0.1", 0)
    server = uvicorn.Server(
        uvicorn.Config(make_app(bridge.desk, add_pages), log_config=None, timeout_graceful_shutdown=1)
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]}, daemon=True)
    thread.start()

    def end():
        server.should_exit = True
        thread.join(10)

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        shown = browser.new_page(
            viewport={"width": 1280, "height": 800}, base_url=f"http://127.0.0.1:{bound.getsockname()[1]}"
        )
        shown.errors = []
        shown.on("pageerror", lambda error: shown.errors.append(str(error)))
        yield shown, bridge, end
        assert shown.errors == []
        browser.close()
    end()


def test_a_stop_is_shown_by_word_shape_and_next_step_the_moment_it_happens(page):
    shown, bridge, _ = page
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    shown.goto("/stations/theatre-1")
    shown.wait_for_selector("#link:text('connected')")
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
    shown.wait_for_selector("#link:text('connected')")
    shown.keyboard.type("b-k7-003-j\n")
    shown.wait_for_selector("#verdict[data-verdict=go]")
    shown.click("button[data-card='K-DONE-P']")
    shown.wait_for_selector("#headline:text('Which wash load?')")
    assert shown.inner_text("#word") == "ASK"
    for button in shown.locator("button").all():
        assert button.bounding_box()["height"] >= 48
    assert bridge.facts("refused") == []


def test_without_the_service_the_screen_says_not_checked_without_colour(page):
    shown, _, end = page
    shown.goto("/stations/theatre-1")
    shown.wait_for_selector("#link:text('connected')")
    end()
    shown.wait_for_selector("#verdict[data-verdict='not checked']", timeout=15_000)
    assert shown.inner_text("#word") == "NOT CHECKED"
    assert "paper rule" in shown.inner_text("#next")
    background = shown.evaluate("getComputedStyle(document.getElementById('verdict')).backgroundColor")
    assert background == "rgb(255, 253, 248)"


def test_a_go_is_withdrawn_live_when_its_load_is_held(page):
    shown, bridge, _ = page
    pack, load = bridge.ready()
    shown.goto("/stations/theatre-1")
    shown.wait_for_selector("#link:text('connected')")
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
    shown.wait_for_selector(".tag:text('released')")
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
