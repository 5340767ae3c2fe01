"""Pages in another language: every word of ours is translated, and nothing that the browser reads is."""

import re
from html.parser import HTMLParser

import pypdfium2
import pytest
from starlette.testclient import TestClient

from service.api.app import make_app
from service.pages import render
from service.pages.routes import STATIONS, add_pages
from tests.practice import NURSE, TECHNICIAN, TarnBridge, steam_load
from tests.service.pages.test_pages import busy
from tests.words import CAPITALS, MONTHS, words_in

GERMAN = {"Cookie": "language=de"}
READ = {"aria-label", "placeholder", "title", "alt", "lang"}
SAME = {"F", "C", "kPa", "h", "min", "s", "°C", "Deutsch", "English", "of", "bar"}


class Parts(HTMLParser):
    """A page's tags with the attributes the browser reads, its texts, and the attributes people read."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.texts, self._in = [], [], []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        if "data-language" not in found and found != {"class": "small"}:
            self.tags.append((tag, tuple(sorted((key, value) for key, value in found.items() if key not in READ))))
        self.texts += [value for key, value in attrs if key in READ - {"lang"}]
        if tag not in {"meta", "link", "input", "br", "path", "circle", "rect"}:
            self._in.append(tag)

    def handle_endtag(self, tag):
        if tag in self._in:
            while self._in.pop() != tag:
                pass

    def handle_data(self, data):
        if data.strip() and not {"script", "style"} & set(self._in):
            self.texts.append(" ".join(data.split()))


@pytest.fixture
def site(tmp_path):
    bridge = TarnBridge(tmp_path)
    with TestClient(make_app(bridge.desk, add_pages)) as client:
        yield bridge, client


def lived_in(bridge):
    """Something of everything on the pages; their addresses."""
    first, pack, load = busy(bridge)
    bridge.scans("packing-1", TECHNICIAN)
    other = bridge.new_set("Lid set")
    bridge.wash([other], 4)
    bridge.scans("packing-1", other, "YES", "YES", "2", "DONE")
    bridge.act("stop machine", by=TECHNICIAN, machine="L-K7-1", why="gasket")
    bridge.act("hold", by=NURSE, load=steam_load(2), why="door")
    bridge.scan("theatre-1", pack)
    bridge.wait(60 * 40)
    bridge.written.take(
        "Tarn Bridge", "Technician", "gasket", "door", "positive", "no other", "Eye set", "img", "nothing"
    )
    one = bridge.record("pack", first).set
    with bridge.desk.ledger.reading() as reader:
        packs = [owner.pack for owner in reader.state.sets() if owner.pack]
    return ["/", "/board", "/?show=held", "/?show=expiring", "/?show=overdue", "/?show=soiled", "/loads", "/loads/next", "/labels", "/indicators", "/machines", "/machines/L-K7-1", "/machines/L-K7-1/2026-03", "/recalls", "/stations", "/limits",
            "/people", "/sign-in", "/start", "/enrol", "/search", "/search?q=Eye", "/search?q=nothing", "/search?q=2026-03-04", "/search?q=1",
            f"/sets/{one}", f"/sets/{other}/sheet", f"/loads/{load}", f"/loads/{steam_load(2)}", f"/loads/{steam_load(3)}", "/loads/W-K7-1-0001-F",
            f"/recalls/{load}", f"/recalls/{load}?reach=since", f"/recalls/{steam_load(2)}?reach=onward", "/packs/P-K7-9999-0001-9", "/packs/nothing",
            "/stations/theatre-1/day", "/stations/theatre-1/day?date=2026-03-04", "/stations/office-1/day?date=2026-03-04",
            "/stations/wash-1/day?date=x", *(f"/packs/{code}" for code in packs), *(f"/stations/{name}" for name in STATIONS)]  # fmt: skip


def test_every_word_of_ours_on_every_page_is_in_the_catalogue(site, monkeypatch):
    bridge, client = site
    monkeypatch.setattr(render, "say_in", lambda _: CAPITALS.say)
    render._environment.cache_clear()
    left, addresses = [], lived_in(bridge)
    ours = {word.lower() for word in bridge.written.words | MONTHS | SAME}
    for address in addresses:
        html = client.get(address, headers=GERMAN).text
        for text in Parts(html).texts:
            said = re.sub(r"'[^']*'|\d+ · [0-9a-f]{4}…[0-9a-f]{2}|\w+_\w+", "", text)
            if words := {word.lower() for word in words_in(said)} - ours:
                left.append((address, text, sorted(words)))
    render._environment.cache_clear()
    assert left == [], "\n".join(map(str, left))


def test_what_the_browser_reads_is_the_same_in_both_languages(site):
    bridge, client = site
    for address in lived_in(bridge):
        english, german = client.get(address), client.get(address, headers=GERMAN)
        assert english.status_code == german.status_code
        assert Parts(english.text).tags == Parts(german.text).tags, address
        if "<html" in german.text:
            assert '<html lang="de">' in german.text
            assert '<html lang="en">' in english.text
            assert '<button type="button" data-language="en" lang="en">English</button>' in german.text


def test_a_page_says_the_practices_language_unless_the_tablet_chose(tmp_path):
    bridge = TarnBridge(tmp_path, language="de")
    with TestClient(make_app(bridge.desk, add_pages)) as client:
        assert (
            "<h1>Grenzen" in client.get("/limits").text
            or "<h1>Was das Protokoll nicht zeigen kann</h1>" in client.get("/limits").text
        )
        assert "<h1>What the record cannot show</h1>" in client.get("/limits", headers={"Cookie": "language=en"}).text


def test_the_list_to_walk_with_is_in_german_too(site):
    bridge, client = site
    _, _, load = busy(bridge)
    answer = client.get(f"/recalls/{load}.pdf", headers=GERMAN)
    text = "".join(page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(answer.content))
    assert f"Rückruf von Charge {load}" in text
    assert "Foldmark berät" in text
    assert "Reichweite Charge: die Packungen" in text
    assert "Seite 1" in text


def test_what_somebody_called_something_is_not_translated(site):
    bridge, client = site
    one = bridge.new_set("Ready", sheet=[{"group": "Packs", "line": "Light", "count": 2}])
    for address in ("/", f"/sets/{one}", "/search?q=Ready"):
        page = client.get(address, headers=GERMAN).text
        assert ">Ready<" in page, address
    assert "<h3>Packs</h3>" in client.get(f"/sets/{one}/sheet", headers=GERMAN).text
    bridge.scans("wash-1", TECHNICIAN, "W-K7-1-0001-F", one, "DONE", "PASS")
    assert ">Washer 1<" in client.get("/loads", headers=GERMAN).text


def test_bench_cards_keep_their_words_and_say_what_they_mean(site):
    _, client = site
    page = client.get("/stations/theatre-1", headers=GERMAN).text
    assert '>PALE<span class="small">blass</span></button>' in page
    assert ">PALE</button>" in client.get("/stations/theatre-1").text
