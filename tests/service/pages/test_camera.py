"""A tablet's own camera: from a wash load to a patient by what it sees alone, on film made from real labels."""

import itertools
import random
from datetime import UTC, datetime

import pytest

from label_templates import codes
from scanner.showing import Showings
from service.api.app import make_app
from service.custody.chain import custody
from service.demo.diary import Step
from service.demo.filming import film_day
from service.pages.routes import add_pages
from tests.browser import as_camera, launched
from tests.practice import NURSE, SHELF, TECHNICIAN, TarnBridge, card, patient, steam_load, wash_load
from tests.served import running

SET = codes.set_code("K7", 1).text
PACK = codes.pack_code(SET, 1).text
CIRCLE = {
    "wash-1": (f"{TECHNICIAN} {wash_load(1)} {SET} DONE PASS", "Wash load 0001 passed."),
    "packing-1": (f"{TECHNICIAN} {SET} YES YES YES YES 2 4 DONE DONE {PACK}", "Dental extraction A is labelled."),
    "loading-1": (f"{TECHNICIAN} {steam_load(1)} {PACK} DONE 1", "Load 0001 has started."),
    "unloading-1": (f"{TECHNICIAN} {steam_load(1)} END PASS {PACK} DONE", "Load 0001: all 1 packs accounted for."),
    "office-1": (f"{NURSE} {steam_load(1)} YES", "Load 0001 is released."),
    "store-1": (f"{TECHNICIAN} {SHELF} {PACK}", "Dental extraction A is on shelf 2."),
    "theatre-1": (f"{NURSE} {patient(812)} {PACK} TURNED", "Dental extraction A is open."),
}
"""What is shown at each station, in the order of the day, and what its screen says at the end."""


LONG = 60_000
"""Milliseconds in which anything comes on a busy machine."""
FAKE = ["--use-fake-device-for-media-stream"]


@pytest.fixture
def bridge(tmp_path):
    """A practice with one set, in use since this morning."""
    made = TarnBridge(tmp_path)
    assert made.new_set() == SET
    return made


def watching(browser, address, **more):
    """A page whose tablet was left with its camera on."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, base_url=address, **more)
    context.add_init_script("localStorage.setItem('camera', 'on')")
    page = context.new_page()
    page.errors = []
    page.on("pageerror", lambda error: page.errors.append(str(error)))
    page.on("console", lambda said: page.errors.append(said.text) if "Content Security" in said.text else None)
    return page


def film(folder, shown):
    """A film of these codes and card words, held before a station's camera."""
    now = datetime(2026, 3, 4, tzinfo=UTC)
    steps = [Step(now, "theatre-1", word if "-" in word else card(word)) for word in shown.split()]
    return film_day(steps, {PACK: (TECHNICIAN, "2026-03-04T09:10")}, folder)["theatre-1"].path


def test_a_set_goes_from_the_wash_to_a_patient_by_camera_alone(bridge, tmp_path):
    """No key, no touch; the office's judgement of the cycle log comes from the steriliser, not from a person."""
    switches = as_camera(film(tmp_path, TECHNICIAN))
    with running(make_app(bridge.desk, add_pages)) as service, launched(*switches) as browser:
        for station, (shown, ends) in CIRCLE.items():
            as_camera(film(tmp_path, shown))
            page = watching(browser, service.url)
            page.goto(f"/stations/{station}")
            page.wait_for_selector(f"#headline:text({ends!r})", timeout=3 * LONG)
            assert page.errors == []
            page.context.close()
            bridge.wait(20)
            if station == "unloading-1":
                bridge.judge(steam_load(1))
        with bridge.desk.ledger.reading() as reader:
            found = custody(reader.state, reader.state.pack(PACK))
    assert (found["state"], found["patients"], found["gaps"]) == ("opened", [patient(812)], [])
    assert bridge.facts("refused") == []


def test_the_camera_is_loaded_when_somebody_wants_it_and_is_on_again_after_a_restart(bridge, tmp_path):
    switches = as_camera(film(tmp_path, TECHNICIAN))
    with running(make_app(bridge.desk, add_pages)) as service, launched(*switches) as browser:
        page = browser.new_page(base_url=service.url)
        fetched = []
        page.on("request", lambda request: fetched.append(request.url.rsplit("/", 1)[1]))
        parts = {"camera.js", "reading.js", "reader.js", "zxing_reader.wasm"}
        page.goto("/stations/wash-1")
        page.wait_for_selector("#link:text-is('connected')")
        assert not parts & set(fetched)
        page.get_by_role("button", name="Camera", exact=True).click()
        page.wait_for_selector("#headline:has-text('Badge 003 is working here.')", timeout=LONG)
        assert parts <= set(fetched)
        assert page.locator("#view").evaluate("view => view.videoWidth") == 960
        page.reload()
        page.wait_for_selector("#camera-words[data-state=read]", timeout=LONG)
        page.get_by_role("button", name="Camera is on").click()
        page.reload()
        page.wait_for_selector("#link:text-is('connected')")
        assert page.locator("#view").is_hidden()


@pytest.mark.parametrize(
    ("switches", "host", "says"),
    [
        ([], "127.0.0.1", "No camera was found"),
        ([*FAKE, "--deny-permission-prompts"], "127.0.0.1", "The camera is not allowed here"),
        (FAKE, "tablet.test", "A camera needs https, or localhost"),
    ],
    ids=["no camera", "refused", "not secure"],
)
def test_a_camera_that_cannot_be_used_says_why_and_what_to_do(bridge, switches, host, says):
    rules = "--host-resolver-rules=MAP tablet.test 127.0.0.1"
    with running(make_app(bridge.desk, add_pages)) as service, launched(rules, *switches) as browser:
        page = watching(browser, service.url.replace("127.0.0.1", host))
        page.goto("/stations/wash-1")
        page.wait_for_selector(f"#camera-words:has-text({says!r})", timeout=LONG)
        page.keyboard.type(f"{TECHNICIAN}\n")
        page.wait_for_selector("#headline:has-text('Badge 003 is working here.')", timeout=LONG)
        assert page.errors == []


def test_a_wristband_of_the_practices_own_is_read_in_theatre_only(tmp_path, browser):
    bridge = TarnBridge(tmp_path, patient_pattern="VET[0-9]{6}")
    with running(make_app(bridge.desk, add_pages)) as service:
        page = browser.new_page(base_url=service.url)
        ours = "text => import('/static/codes.js').then(({ isOurs }) => isOurs(text, document.body.dataset.pattern))"
        for station, taken in (("theatre-1", True), ("wash-1", False)):
            page.goto(f"/stations/{station}")
            assert page.evaluate(ours, "VET123456") is taken
            assert page.evaluate(ours, "xVET123456") is False
        page.goto("/stations/theatre-1")
        page.wait_for_selector("#link:text-is('connected')")
        page.keyboard.type(f"{NURSE}\nVET123456\n")
        page.wait_for_selector("#headline:has-text('The case is open.')", timeout=LONG)


def test_one_label_is_one_scan_until_it_has_left_the_picture_as_the_scanner_has_it(bridge, browser):
    rng = random.Random(5)
    feeds = [
        [(round(at, 2), rng.sample("ABC", rng.randrange(3))) for at in itertools.accumulate(rng.choice((0.05, 0.3, 0.9, 1.2)) for _ in range(60))]
        for _ in range(40)
    ]  # fmt: skip
    wanted = [
        [showings.feed(at, dict.fromkeys(codes, 1)) for at, codes in feed]
        for feed in feeds
        for showings in [Showings()]
    ]
    with running(make_app(bridge.desk, add_pages)) as service:
        page = browser.new_page(base_url=service.url)
        page.goto("/stations/wash-1")
        found = page.evaluate(
            """async feeds => {
              const { Steady } = await import("/static/station/steady.js");
              return feeds.map(feed => { const steady = new Steady(); return feed.map(([at, codes]) => steady.feed(at, codes)); });
            }""",
            feeds,
        )
    assert found == wanted
    assert any(told for feed in wanted for told in feed)
