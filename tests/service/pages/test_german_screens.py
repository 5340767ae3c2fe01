"""German is longer: at every size nothing is clipped, runs over, or leaves its button."""

import pytest

from tests.practice import MANAGER, NURSE, SHELF, TECHNICIAN, patient, steam_load, wash_load
from tests.service.pages.test_accessible import SIZES, STATIONS, violations

GERMAN = {"name": "language", "value": "de", "domain": "127.0.0.1", "path": "/"}
CLIPPED = """() => [...document.querySelectorAll("body *")].filter((e) => {
    const style = getComputedStyle(e);
    if (style.display === "inline" || style.display === "none" || e.closest("svg, .scroll, .hidden, .mark") || !e.clientWidth) return false;
    return !["INPUT", "TEXTAREA"].includes(e.tagName) && e.scrollWidth > e.clientWidth + 1;
  }).map((e) => `${e.tagName} ${e.className} ${e.innerText.slice(0, 40)}`)"""
OUT_OF_DRAWING = """() => [...document.querySelectorAll("svg.round text")].filter((e) => {
    const svg = e.ownerSVGElement.getBoundingClientRect(), box = e.getBoundingClientRect();
    return box.width && (box.left < svg.left - 1 || box.right > svg.right + 1);
  }).map((e) => e.textContent)"""


def lived_in(bridge):
    """A word of every kind somewhere on the screens."""
    first, load = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), first, "TURNED", "=10", "=10", "DONE")
    bridge.act("read indicator", load=load, indicator="biological", result="positive", lot="B-1", control="grew")
    bridge.act("open recall", by=MANAGER, load=load, reach="load", why="Bioindikator positiv")
    second = bridge.new_set("Eye set 1", implant=True)
    bridge.wash([second], 2)
    waiting = bridge.pack(second)
    bridge.sterilise([waiting], 2)
    counted = bridge.new_set("Fracture basic A")
    bridge.wash([counted], 3)
    bridge.scans("packing-1", TECHNICIAN, counted, "YES", "YES", "2", "DONE")
    bridge.scans("wash-1", wash_load(4), "DONE")
    bridge.scans("loading-1", TECHNICIAN, steam_load(4))
    bridge.scans("store-1", TECHNICIAN, SHELF)
    bridge.scans("office-1", NURSE, load)
    bridge.scans("theatre-1", patient(813), waiting)
    return ["/", f"/packs/{first}", f"/packs/{waiting}", f"/sets/{counted}", "/loads", "/loads/next", "/indicators", f"/loads/{load}", "/recalls", f"/recalls/{load}", "/search",
            "/search?q=Eye", "/stations/theatre-1/day", "/limits", "/stations", "/people", "/sign-in", "/start", "/enrol"]  # fmt: skip


def test_in_german_nothing_is_clipped_or_runs_over_at_any_size(page):
    shown, bridge, _ = page
    addresses = [*lived_in(bridge), *(f"/stations/{name}" for name in STATIONS)]
    shown.context.add_cookies([GERMAN])
    found = []
    for address in addresses:
        shown.goto(address)
        if address.startswith("/stations/") and not address.endswith("/day"):
            shown.wait_for_selector("#link:text-is('verbunden')")
        for width, height in SIZES:
            shown.set_viewport_size({"width": width, "height": height})
            found += [(address, width, what) for what in shown.evaluate(CLIPPED) + shown.evaluate(OUT_OF_DRAWING)]
            if shown.evaluate("document.documentElement.scrollWidth") > width:
                found.append((address, width, "wider than the screen"))
    assert found == [], "\n".join(map(str, found))


def test_a_tablet_chooses_its_language_by_a_touch_and_keeps_it(page):
    shown, bridge, _ = page
    shown.goto("/stations/theatre-1")
    shown.wait_for_selector("#link:text-is('connected')")
    shown.get_by_role("button", name="Deutsch").click()
    shown.wait_for_selector("#link:text-is('verbunden')")
    assert shown.evaluate("document.documentElement.lang") == "de"
    bridge.scans("theatre-1", NURSE, patient(812))
    shown.wait_for_selector("#headline:text('Der Eingriff ist offen.')")
    assert shown.inner_text("#word") == "WEITER"
    shown.goto("/limits")
    assert shown.inner_text("h1") == "Was das Protokoll nicht zeigen kann"
    shown.get_by_role("button", name="English").click()
    shown.wait_for_selector("h1:text('What the record cannot show')")


@pytest.mark.parametrize("address", ["/", "/stations/theatre-1", "/limits"])
def test_pages_in_german_have_no_violation_either(page, address):
    shown, bridge, _ = page
    lived_in(bridge)
    shown.context.add_cookies([GERMAN])
    shown.goto(address)
    assert violations(shown) == []


def test_without_the_service_a_german_screen_says_so_in_german(page):
    shown, _, end = page
    shown.context.add_cookies([GERMAN])
    shown.goto("/stations/theatre-1")
    shown.wait_for_selector("#link:text-is('verbunden')")
    end()
    shown.wait_for_selector("#verdict[data-verdict='not checked']", timeout=60_000)
    assert shown.inner_text("#word") == "NICHT GEPRÜFT"
    assert "Papierregel" in shown.inner_text("#next")
