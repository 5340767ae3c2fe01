"""The station's screen as people use it: what it weighs, what it keeps of a person's choices, and that nothing is cut off."""

import pytest

from tests.practice import NURSE, SURGEON, TECHNICIAN, patient, wash_load

LONG = 60_000
"""Milliseconds in which anything comes on a busy machine."""
SIZES = ((1280, 800), (800, 1280), (390, 844))
MOST_BYTES = 100_000
WORDY = "Instrumentenaufbereitungsverantwortliche sagt: Fräsmaschinenöl auf P-K7-0042-0017-R, Wundspreizer verbogen, Gelenk steif; "
SHOWN = {
    "headline": (WORDY * 2)[:140],
    "detail": WORDY * 7,
    "next": f"Fetch {WORDY[:90]} from shelf 2, and scan it before opening; or show TURNED, PALE or UNSURE.",
    "late": False,
    "rule": "not_all_unloaded",
    "at": "2026-03-04T10:12:00.000Z",
    "who": "Dr Ōtsubo-Featherstonehaugh the Younger 🐈🐈🐈 <b>",
    "open": {"title": WORDY[:80], "number": "12 of 112", "line": WORDY[:70]},
    "last": [{"verdict": one, "title": WORDY[:60], "code": "P-K7-0042-0017-R", "at": "2026-03-04T10:12:00.000Z"}
             for one in ("go", "ask", "stop", "go", "ask")],
    "offers": [{"code": "P-K7-0042-0017-R", "title": WORDY[:50], "note": "shelf 2, use by 31 August, SHORT"}] * 8,
    "about": [{"href": "/", "title": "Pack P-K7-0042-0017-R"}, {"href": "/", "title": "Load 0331"}],
    "sheet": None,
}  # fmt: skip
SHOW = """async ([found, verdict]) => {
  const { say, around, why, notice, text } = await import("/static/station/shown.js");
  around(found); say({ ...found, verdict }); why(found); notice(found.headline, found.detail.slice(0, 200)); text("waiting", "waiting: 12 scans");
  document.getElementById("why").open = true;
}"""
FLAWS = """() => {
  const flaws = [], boxes = [], name = (e) => `${e.tagName.toLowerCase()}#${e.id}.${e.className}`;
  for (const e of document.querySelectorAll("body *")) {
    const style = getComputedStyle(e);
    if (!e.getClientRects().length || style.display === "inline" || e.closest("svg")) continue;
    if (e.scrollWidth > e.clientWidth + 1 && e.clientWidth) flaws.push(`wider than its box: ${name(e)}`);
    if (style.overflowY === "hidden" && e.scrollHeight > e.clientHeight + 1) flaws.push(`cut off: ${name(e)}`);
  }
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = texts.nextNode(); node; node = texts.nextNode()) {
    if (!node.data.trim() || node.parentElement.closest("script")) continue;
    const range = document.createRange(), words = node.parentElement.closest(".words")?.getBoundingClientRect();
    range.selectNodeContents(node);
    for (const r of range.getClientRects()) {
      const top = Math.max(r.top, words?.top ?? -1e6), bottom = Math.min(r.bottom, words?.bottom ?? 1e6);
      if (bottom - top > 4 && r.width > 2) boxes.push({ node, top, bottom, left: r.left, right: r.right });
    }
  }
  boxes.forEach((a, i) => boxes.slice(i + 1).forEach((b) => {
    const over = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top), wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    if (a.node !== b.node && over > 4 && wide > 2) flaws.push(`overlap: ${a.node.data.slice(0, 30)} / ${b.node.data.slice(0, 30)}`);
  }));
  return [...new Set(flaws)];
}"""
"""Elements wider than their box or cut off below, and texts that lie on one another."""


def at_station(shown, station):
    shown.goto(f"/stations/{station}")
    shown.wait_for_selector("#link:text-is('connected')", timeout=LONG)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_the_longest_texts_are_neither_cut_off_nor_on_one_another_and_the_next_step_stays_in_sight(page, size, theme):
    shown, _, _ = page
    shown.set_viewport_size({"width": size[0], "height": size[1]})
    at_station(shown, "theatre-1")
    shown.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
    for verdict in ("go", "ask", "stop", "not checked"):
        for texts in (SHOWN, SHOWN | {"headline": "Open Eye set 1, turn 2.", "detail": "", "next": "Go on."}):
            shown.evaluate(SHOW, [texts, verdict])
            assert shown.evaluate(FLAWS) == [], (verdict, size)
            if size[0] >= 800:
                box = shown.locator(".next").bounding_box()
                assert box["y"] >= 65 and box["y"] + box["height"] <= size[1]
                assert shown.locator("#word").bounding_box()["height"] >= 60
                assert (
                    shown.evaluate("parseFloat(getComputedStyle(document.getElementById('headline')).fontSize)") >= 30
                )


@pytest.mark.parametrize("address", ["/stations/theatre-1", "/stations/packing-1", "/"])
def test_a_first_page_weighs_less_than_a_hundred_kilobytes_without_the_camera(page, address):
    shown, bridge, _ = page
    for number in range(20):
        bridge.new_set(f"Set {number}")
    weights = {}

    def weigh(request):
        weights[request.url] = request.sizes()["responseBodySize"] + request.sizes()["responseHeadersSize"]

    shown.on("requestfinished", weigh)
    shown.goto(address)
    shown.wait_for_load_state("load")
    shown.wait_for_timeout(1500)
    assert any(url.endswith(".woff2") for url in weights)
    assert sum(weights.values()) <= MOST_BYTES, weights


def test_the_look_and_the_volume_somebody_chose_are_kept(page):
    shown, _, _ = page
    ground = "getComputedStyle(document.body).backgroundColor"
    at_station(shown, "wash-1")
    shown.emulate_media(color_scheme="dark")
    assert shown.evaluate(ground) == "rgb(20, 24, 30)"
    for look, colour in (("dark", "rgb(20, 24, 30)"), ("light", "rgb(246, 244, 238)")):
        shown.click("#theme")
        assert shown.inner_text("#theme") == f"Look: {look}"
        assert shown.evaluate(ground) == colour
    for volume in ("off", "low"):
        shown.click("#volume")
        shown.wait_for_selector(f"#volume:text('Sound: {volume}')", timeout=LONG)
    shown.reload()
    assert shown.evaluate(ground) == "rgb(246, 244, 238)"
    assert shown.inner_text("#theme") == "Look: light"
    assert shown.inner_text("#volume") == "Sound: low"


def test_why_somebody_was_stopped_is_one_touch_away_and_leaves_the_verdict_in_place(page):
    shown, bridge, _ = page
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    load = bridge.sterilise([pack])
    at_station(shown, "theatre-1")
    assert shown.is_hidden("#why")
    bridge.scans("theatre-1", NURSE, patient(812), pack)
    shown.wait_for_selector("#verdict[data-verdict=stop]", timeout=LONG)
    bridge.scan("theatre-1", NURSE)
    shown.wait_for_selector("#verdict[data-verdict=go]", timeout=LONG)
    shown.get_by_text("Why was I stopped?").click()
    assert shown.inner_text("#why-headline") == "This pack is not released."
    assert "Nobody has released it." in shown.inner_text("#why-detail")
    assert "Rule: not released." in shown.inner_text("#why-rule")
    assert shown.inner_text("#word") == "GO"
    assert shown.locator("#why-links a").evaluate_all("all => all.map(a => a.pathname)") == [
        f"/packs/{pack}",
        f"/loads/{load}",
    ]


def test_the_last_five_scans_and_what_is_open_are_there_again_after_the_tablet_restarts(page):
    shown, bridge, _ = page
    sets = [bridge.new_set(f"Set {number}") for number in range(6)]
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), *sets)
    for _ in range(2):
        at_station(shown, "wash-1")
        titles = shown.locator("#last li").all_inner_texts()
        assert [title.splitlines()[0] for title in titles] == [f"Set {number}" for number in (5, 4, 3, 2, 1)]
        assert shown.inner_text("#open-number") == "6 sets"
        assert shown.inner_text("#headline") == "Set 5 is in the wash."


def test_the_cards_of_the_next_step_stand_out(page):
    shown, bridge, _ = page
    pack, _ = bridge.ready()
    at_station(shown, "theatre-1")
    bridge.scans("theatre-1", NURSE, patient(812), pack)
    shown.wait_for_selector("#verdict[data-verdict=go] #next:has-text('TURNED')", timeout=LONG)
    assert shown.locator("button[data-now=true]").all_inner_texts() == ["TURNED", "PALE", "UNSURE"]


def test_typing_says_at_once_whether_the_check_character_fits(page):
    shown, _, _ = page
    at_station(shown, "theatre-1")
    for typed, says in (
        ("p-k7-0042-0017-r", "✓ check character fits"),
        ("P-K7-0042-0017-S", "✗ check character should be R"),
        ("P-K7-0042-00", ""),
        ("24-117", ""),
    ):
        shown.fill("#typed", typed)
        assert shown.inner_text("#check") == says


def test_a_packs_code_written_by_hand_is_typed_and_is_its_label(page):
    shown, bridge, _ = page
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16", "=24-117", "DONE")
    at_station(shown, "packing-1")
    shown.fill("#typed", bridge.pack_of(one).lower())
    shown.press("#typed", "Enter")
    shown.wait_for_selector("#verdict[data-verdict=go] #headline:has-text('is labelled')", timeout=LONG)
    assert bridge.facts("labelled")[0].data == {"by_hand": True}


def test_a_hand_scanner_is_heard_with_the_focus_anywhere(page):
    shown, bridge, _ = page
    at_station(shown, "wash-1")
    for place, code in (("#theme", TECHNICIAN), ("button[data-word='UNDO']", SURGEON), ("body", TECHNICIAN)):
        shown.focus(place)
        shown.keyboard.type(f"{code}\n")
        shown.wait_for_selector(f"#who:has-text('{code}')", timeout=LONG)
    assert bridge.facts("amended") == []
    assert shown.inner_text("#theme") == "Look: auto"
