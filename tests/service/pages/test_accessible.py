"""Every page by axe-core, in both themes, and the light one in three sizes: WCAG 2.2 levels A and AA, no violation.

Rules: axe-core's own (Deque, MPL 2.0), by the tags for WCAG 2.0, 2.1 and 2.2 A and AA; target size by WCAG 2.5.8 and,
harder, the 48 px that gloves want.
"""

import json
from pathlib import Path

import axe_playwright_python
import pytest

from tests.practice import MANAGER, NURSE, TECHNICIAN, patient

AXE = Path(axe_playwright_python.__file__).with_name("axe.min.js").read_text("utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SIZES = ((1280, 800), (800, 1280), (390, 844))
BY_THEME = {"light": SIZES, "dark": SIZES[1:2]}
"""The dark theme has other colours and nothing else."""
STATIONS = ("wash-1", "packing-1", "loading-1", "unloading-1", "store-1", "theatre-1", "office-1")


def violations(shown):
    """What axe-core finds on the page that is shown: rule, how many, and the first place."""
    if not shown.evaluate("'axe' in window"):
        shown.evaluate(AXE)
    found = shown.evaluate(f"axe.run({{runOnly: {json.dumps(TAGS)}}})")
    return [
        (v["id"], len(v["nodes"]), v["nodes"][0]["html"][:120], v["nodes"][0].get("failureSummary", "")[:200])
        for v in found["violations"]
    ]


def small_targets(shown):
    """Buttons, fields and links in navigation lower than 48 px."""
    return shown.evaluate(
        """[...document.querySelectorAll("button, input:not([type=hidden]), select, nav a, .bar a")]
           .filter(e => e.offsetParent && (e.type === "checkbox" ? e.closest("label") : e).getBoundingClientRect().height < 47.5).map(e => e.outerHTML.slice(0, 100))"""
    )


def lived_in(bridge):
    """A practice with something on every page: a recall, a gap, a hold, a stop, a count half done."""
    pack, load = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    bridge.act("read indicator", load=load, indicator="biological", result="positive", lot="B-1", control="grew")
    bridge.act("open recall", by=MANAGER, load=load, reach="load", why="biological positive")
    other = bridge.new_set("Dental extraction B")
    bridge.wash([other], 2)
    bridge.scans("packing-1", TECHNICIAN, other, "YES", "YES", "2", "DONE")
    return pack, load, other


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_has_a_violation_in_either_theme(page, scheme):
    shown, bridge, _ = page
    pack, load, other = lived_in(bridge)
    addresses = ["/", "/?show=held&mark=blue", "/?show=overdue", f"/packs/{pack}", f"/sets/{other}", "/loads", "/loads/next", "/labels", "/indicators", "/machines", "/machines/L-K7-1", "/machines/W-K7-1", "/machines/L-K7-1/2026-03", f"/loads/{load}", f"/loads/{load[0]}-nonsense", "/recalls", f"/recalls/{load}",
                 "/search?q=Dental", "/search?q=nothing", "/limits", "/stations", "/stations/theatre-1/day", "/sign-in", "/start#X", "/enrol",
                 *(f"/stations/{name}" for name in STATIONS)]  # fmt: skip
    shown.emulate_media(color_scheme=scheme)
    found = []
    for address in addresses:
        shown.goto(address)
        if address.startswith("/stations/") and not address.endswith("/day"):
            shown.wait_for_selector("#link:text-is('connected')")
        for width, height in BY_THEME[scheme]:
            shown.set_viewport_size({"width": width, "height": height})
            found += [(address, width, *one) for one in violations(shown)]
            found += [(address, width, "target below 48 px", one) for one in small_targets(shown)]
            if shown.evaluate("document.documentElement.scrollWidth") > width:
                found.append((address, width, "wider than the screen"))
    told = sorted({(one[2], str(one[3:])[:330]) for one in found})
    assert found == [], "\n".join(map(str, told))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_managers_page_of_people_and_devices_has_none_either(closed, scheme):
    (office, _), bridge, entry = closed
    entry.device("theatre")
    bridge.wait(1)
    office.context.add_cookies(
        [{"name": "foldmark_session", "value": entry.person(MANAGER), "domain": "127.0.0.1", "path": "/"}]
    )
    office.emulate_media(color_scheme=scheme)
    found = []
    for address in ("/people", "/"):
        office.goto(address)
        office.wait_for_selector("button:text('Sign out')")
        for width, height in BY_THEME[scheme]:
            office.set_viewport_size({"width": width, "height": height})
            found += [*violations(office), *small_targets(office)]
            if office.evaluate("document.documentElement.scrollWidth") > width:
                found.append((address, width, "wider than the screen"))
    assert found == []
