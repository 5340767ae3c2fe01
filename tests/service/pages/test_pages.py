"""Pages: what they say, that nothing is left unescaped, and that nothing comes from outside."""

import re
from html.parser import HTMLParser

import pypdfium2
import pytest
from starlette.testclient import TestClient

from service.api.app import make_app
from service.pages import drawing
from service.pages.routes import STATIONS, add_pages
from tests.practice import NURSE, SHELF, SURGEON, TECHNICIAN, TarnBridge, patient, steam_load, wash_load

NASTY = '<img src=x onerror=alert(1)> "O\'Neil" & Ünï 🐕'
CAUTION = "the licensed practitioner decide"


class Checker(HTMLParser):
    """Collects what a page refers to, and its headings."""

    def __init__(self):
        super().__init__()
        self.links, self.headings, self.inline, self.unlabelled, self.labels, self.ids = [], [], [], [], set(), []

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        for key in ("href", "src", "action"):
            if key in found:
                self.links.append(found[key])
        if re.fullmatch(r"h\d", tag):
            self.headings.append(int(tag[1]))
        if any(key.startswith("on") for key in found) or "style" in found:
            self.inline.append((tag, found))
        if tag == "script" and "src" not in found and found.get("type") != "application/json":
            self.inline.append((tag, found))
        if "id" in found:
            self.ids.append(found["id"])


@pytest.fixture
def site(tmp_path):
    """Tarn Bridge with a bit of everything, and a client of its pages."""
    bridge = TarnBridge(tmp_path)
    client = TestClient(make_app(bridge.desk, add_pages))
    with client:
        yield bridge, client


def busy(bridge):
    """A pack opened from a recalled load, one by override, one out of date, one wet, one waiting."""
    first, load = bridge.ready(NASTY, 1)
    bridge.scans("theatre-1", NURSE, patient(812), first, "TURNED", "=10", "=10", "DONE")
    second = bridge.new_set("Eye set 1", implant=True)
    bridge.wash([second], 2)
    pack = bridge.pack(second)
    bridge.sterilise([pack], 2)
    bridge.scans("theatre-1", NURSE, patient(813), pack, SURGEON, "=no other", "TURNED")
    third = bridge.new_set("Fracture basic A")
    bridge.wash([third], 3)
    wet = bridge.pack(third)
    bridge.sterilise([wet], 3, unload=False)
    bridge.scans("unloading-1", wet, "WET")
    bridge.act("place indicator", load=load, indicator="biological", lot="B-1", control_lot="B-1", due="2026-03-06")
    bridge.act("read indicator", load=load, indicator="biological", result="positive", lot="B-1", control="grew")
    bridge.act("open recall", load=load, reach="load", why="positive")
    bridge.new_set("A set never used")
    return first, pack, load


def test_every_page_is_whole_labelled_and_keeps_to_itself(site):
    bridge, client = site
    first, pack, load = busy(bridge)
    one = bridge.record("pack", first).set
    pages = ["/", "/loads", "/loads/next", "/labels", "/indicators", "/machines", "/machines/L-K7-1", "/machines/L-K7-1/2026-03", "/recalls", "/stations", "/limits", "/search?q=eye", f"/packs/{first}", f"/packs/{pack}", f"/sets/{one}",
             f"/loads/{load}", f"/loads/{wash_load(1)}", f"/recalls/{load}", f"/recalls/{load}?reach=since", "/search?q=%3Cscript%3E",
             *(f"/stations/{name}" for name in STATIONS), "/stations/theatre-1/day"]  # fmt: skip
    for address in pages:
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert "<img src=x" not in answer.text and "<script>alert" not in answer.text, address
        checker = Checker()
        checker.feed(answer.text)
        assert checker.inline == [], (address, checker.inline)
        assert all(link.startswith(("/", "#")) and not link.startswith("//") for link in checker.links), address
        assert checker.headings[0] == 1 and checker.headings.count(1) == 1, (address, checker.headings)
        assert all(b - a <= 1 for a, b in zip(checker.headings, checker.headings[1:], strict=False)), (
            address,
            checker.headings,
        )
        assert len(checker.ids) == len(set(checker.ids)), address
        assert '<html lang="en">' in answer.text and "<title>" in answer.text
        if not address.startswith("/stations/") or address.endswith("/day"):
            assert CAUTION in answer.text, address
        for link in set(checker.links):
            if link != "#" and "search" not in link:
                assert client.get(link).status_code == 200, (address, link)


def test_the_board_shows_where_sets_are_and_who_is_needed(site):
    bridge, client = site
    _, _, load = busy(bridge)
    text = client.get("/").text
    assert f"Load {load[7:11]} is recalled." in text
    assert f"Load {load[7:11]} is on hold." in text
    assert "waits for release" in text
    assert "opened 2" in text and "waiting 1" in text
    assert re.search(r"<b>0</b><span class=\"fill\">of 4 sets: released, in date", text)


def test_a_set_out_of_date_needs_someone_and_one_that_soon_will_be_is_listed(site):
    bridge, client = site
    bridge.ready("Eye set 3", 1)
    bridge.wait(60 * 24 * 175)
    assert "Goes out of date within a week" in client.get("/").text
    assert re.search(r"Eye set 3</b></a> Use by 31 August", client.get("/").text)
    bridge.wait(60 * 24 * 10)
    assert "Eye set 3 is out of date." in client.get("/").text


def test_a_pack_page_draws_custody_with_its_gap_its_override_and_later_news(site):
    bridge, client = site
    first, pack, _ = busy(bridge)
    text = client.get(f"/packs/{pack}").text
    assert "Gap: nobody released the load, before opened" in text
    assert "opened by override, unconfirmed" in text
    assert '<li class="gap">' in text and '<li class="override">' in text and '<li class="opening">' in text
    other = client.get(f"/packs/{first}").text
    assert "biological positive" in other
    assert "No gap in the record." in other
    assert "complete chain" not in other
    assert "recalled" in other


def test_a_load_page_lists_for_and_against_and_never_more_than_was_seen(site):
    bridge, client = site
    one = bridge.new_set()
    bridge.wash([one])
    load = bridge.sterilise([bridge.pack(one)])
    text = client.get(f"/loads/{load}").text
    for words in ("strips inside: not yet seen in 1 of 1 packs", "they went through a cycle, no more", "no biological in this load",
                  "Turned tape shows only that a pack went through a cycle", "/release", "/reject"):  # fmt: skip
        assert words in text, words
    assert "sterile" not in text.lower().replace("steriliser", "").replace("sterilising", "")


def test_a_judged_load_shows_its_chart_with_the_cautions(site):
    import numpy as np

    from service.demo.cycles import made_cycle
    from service.steam.programme import programme

    bridge, client = site
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), bridge.pack(one), "DONE", "1")
    log = made_cycle(programme("134/3"), np.random.default_rng(1))
    client.post(
        f"/api/loads/{steam_load(1)}/cycle",
        params={"id": bridge.new_id(), "by": NURSE, "why": "the only one"},
        content=log,
    ).raise_for_status()
    text = client.get(f"/loads/{steam_load(1)}").text
    assert "programme at 134 °C" in text
    assert "F0 is calculated by the trapezium rule" in text
    assert "a calculated F0 is not a validation" in text
    assert "no end recorded: such a load can only be rejected" in text


def test_a_recall_page_walks_through_every_pack_and_its_patients(site):
    bridge, client = site
    first, _, load = busy(bridge)
    text = client.get(f"/recalls/{load}?reach=load").text
    assert "1 packs not accounted for yet" in text
    assert f"/api/recalls/{load}/1/accounted" in text
    assert patient(812) in text
    assert "never takes a pack off the list" in text
    other = client.get(f"/recalls/{load}?reach=since").text
    assert "No recall is open on this load." in other
    bridge.act("account", recall=f"{load}/1", pack=first)
    assert f"/api/recalls/{load}/1/close" in client.get(f"/recalls/{load}?reach=load").text


def test_the_recall_list_is_a_pdf_with_every_pack(site):
    bridge, client = site
    first, _, load = busy(bridge)
    answer = client.get(f"/recalls/{load}.pdf?reach=load")
    assert answer.headers["content-type"] == "application/pdf"
    words = pypdfium2.PdfDocument(answer.content)[0].get_textpage().get_text_range()
    assert first in words and patient(812) in words
    assert client.get(f"/recalls/{load}.pdf?reach=x").status_code == 422
    assert client.get(f"/recalls/{steam_load(99)}.pdf").status_code == 404


def test_search_goes_straight_to_a_code_and_finds_names_in_part(site):
    bridge, client = site
    first, _, _ = busy(bridge)
    assert client.get(f"/search?q={first.lower()}", follow_redirects=False).headers["location"] == f"/packs/{first}"
    assert "Eye set 1" in client.get("/search?q=EYE").text
    assert "Nothing here goes by that" in client.get("/search?q=zebra").text
    client.post("/api/patients", json={"id": bridge.new_id(), "code": patient(812), "name": "Milo", "species": "cat"})
    assert "Milo, cat" in client.get("/search?q=milo").text


@pytest.mark.parametrize(("address", "status"), [("/packs/nonsense", 422), ("/packs/P-K7-0042-0017-R", 404), ("/loads/L-K7-1-0331-K", 404),
                                                 ("/stations/kitchen-1", 422), ("/recalls/P-K7-0042-0017-R", 422)])  # fmt: skip
def test_a_wrong_address_is_a_page_that_says_what_to_do(site, address, status):
    _, client = site
    answer = client.get(address)
    assert answer.status_code == status
    assert "Back to the board" in answer.text


def test_an_empty_practice_has_pages_that_say_how_to_begin(site):
    _, client = site
    assert "Nothing waits for anybody." in client.get("/").text
    assert "No load has begun yet." in client.get("/loads").text
    assert "No recall was ever opened." in client.get("/recalls").text


def test_a_station_page_shows_the_last_verdict_and_cards_to_touch(site):
    bridge, client = site
    bridge.scans("store-1", TECHNICIAN, SHELF)
    text = client.get("/stations/store-1").text
    assert 'data-verdict="go"' in text
    assert "Shelf 2." in text
    assert ">UNDO</button>" in text


@pytest.mark.parametrize("verdict", ["go", "ask", "stop", "not checked"])
def test_each_verdict_has_a_shape_of_its_own(verdict):
    assert len({drawing.shape(v) for v in drawing.SHAPES}) == 4
    assert "<svg" in drawing.shape(verdict)


def test_static_files_are_ours_and_the_font_keeps_its_licence(site):
    _, client = site
    assert client.get("/static/look.css").status_code == 200
    assert client.get("/static/vendor/atkinson/latin-400.woff2").status_code == 200
    assert "SIL Open Font License" in client.get("/static/vendor/atkinson/LICENCE.txt").text
    assert "http" not in client.get("/static/look.css").text
    assert "http" not in client.get("/static/station.js").text
