"""Forms: whatever is typed into any field of any of them is answered, and what was taken is shown as text and nothing else."""

import collections
import json
import re
from html.parser import HTMLParser
from importlib import resources
from urllib.parse import quote

import httpx
import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from label_templates import codes
from service.api.app import make_app
from service.api.problems import MEDIA
from service.pages.routes import add_pages
from tests.entry import Entry, bearer
from tests.practice import MANAGER, NURSE, SITE, SURGEON, TECHNICIAN, patient, steam_load
from tests.served import served
from tests.service.pages.test_pages import busy

NASTY = [
    "", " ", "'", '"', "<script>alert(1)</script>", '"><x-mark onclick="alert(1)">', "]]>", "{{ 7 * 7 }}", "%s%n", "../../etc/passwd",
    "'; DROP TABLE fact; --", "a\0b", "\u202eevil\u202c", "\u2067x", "\u200fx", "e\u0301", "\ud800", "x\udfff", "😀👩‍⚕️", "שלום 12", "مرحبا",
    "x" * 10_000, "\n\r\t", "\x1b[2J", "\ufeff", "\ufffe", "NaN", "-1", "1e999", "null",
]  # fmt: skip
ANY_TEXT = st.text(st.characters(exclude_categories=()), max_size=400)
ANY = st.sampled_from(NASTY) | ANY_TEXT | st.recursive(
    st.none() | st.booleans() | st.integers(-(10**40), 10**40) | st.floats() | st.sampled_from(NASTY),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(ANY_TEXT, inner, max_size=4),
    max_leaves=10,
)  # fmt: skip


class Forms(HTMLParser):
    """The forms of a page that go to the API: address, and the fields with what stands in them; and its links."""

    def __init__(self):
        super().__init__()
        self.found, self.links = [], set()

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag == "form" and (action := told.get("data-api") or told.get("data-door")):
            self.found.append((action, {}))
        if tag in {"input", "textarea"} and "name" in told and self.found:
            self.found[-1][1][told["name"]] = told.get("value", "")
        if tag == "a" and told.get("href", "").startswith("/"):
            self.links.add(told["href"])


def kind(address):
    """An address with the codes, days and names of devices in it left out."""
    return re.sub(r"[A-Z]-K7[0-9A-Z*-]*|D[0-9a-f]{12}|\d{4}-\d\d-\d\d", "…", address)


def crawled(client, start=("/", "/sign-in", "/start", "/enrol", "/people", "/stations", "/recalls", "/loads")):
    """The pages that links lead to, by address: every kind of page, and a few of each."""
    pages, left, kinds = {}, list(start), collections.Counter()
    while left:
        path = left.pop()
        if path in pages or kinds[kind(path)] >= 8:
            continue
        kinds[kind(path)] += 1
        answer = client.get(path)
        assert answer.status_code in {200, 404, 422}, (path, answer.status_code)
        pages[path] = answer.text if answer.headers["content-type"].startswith("text/html") else ""
        parser = Forms()
        parser.feed(pages[path])
        left += sorted(parser.links)
    return pages


def forms_of(pages):
    """One form of each kind, by its address with the codes left out."""
    found = {}
    for text in pages.values():
        parser = Forms()
        parser.feed(text)
        found |= {
            re.sub(r"[A-Z]-K7[0-9A-Z*-]*|D[0-9a-f]{12}", "…", action): (action, told) for action, told in parser.found
        }
    return found


def written_forms():
    """The addresses of the forms in the templates, as patterns."""
    folder = resources.files("service.pages").joinpath("templates")
    text = "".join(file.read_text("utf-8") for file in folder.iterdir())
    actions = re.findall(r'data-(?:api|door)="([^"]*/[^"]*)"', text) + re.findall(
        r'parts\.act\("(/.*?")(?:, "[A-Z])', text
    )
    return {re.sub(r'\{\{.*?\}\}|" ~ .*? ~ "', "[^ ]+", action).rstrip('"') for action in actions}


class Office:
    """Tarn Bridge behind closed doors, and a manager's browser."""

    def __init__(self, bridge):
        self.bridge = bridge
        pack, load = bridge.ready("Eye set 3", 7)
        busy(bridge)
        recall = bridge.act("open recall", load=load, reach="load", why="drill")["subject"]
        bridge.act("account", pack=pack, recall=recall, found="on shelf 2")
        self.entry = Entry(bridge.desk)
        self.entry.device("theatre")
        told = {"raise_server_exceptions": False, "follow_redirects": False}
        app = make_app(bridge.desk, add_pages, None, self.entry.doors)
        self.manager = TestClient(app, headers=bearer(self.entry.person(MANAGER)), **told)
        self.surgeon = TestClient(app, headers=bearer(self.entry.person(SURGEON)), **told)
        self.forms = forms_of(crawled(self.manager))
        pages = crawled(self.surgeon, ("/",))
        self.forms = forms_of(pages) | self.forms


@pytest.fixture
def office(bridge):
    return Office(bridge)


def test_every_form_that_stands_in_a_template_is_found_on_a_page(office):
    written, shown = written_forms(), [action for action, _ in office.forms.values()]
    assert len(written) >= 12
    missing = [pattern for pattern in written if not any(re.fullmatch(pattern, action) for action in shown)]
    assert missing == []


@settings(
    max_examples=200, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.data())
def test_whatever_is_typed_into_a_form_is_taken_or_refused_in_words(office, data):
    action, told = office.forms[data.draw(st.sampled_from(sorted(office.forms)))]
    body = told | {"id": office.bridge.new_id()} if "/api/session" not in action else dict(told)
    for name in data.draw(st.lists(st.sampled_from([*told, "id", "by", "sheet"]), min_size=1, max_size=2)):
        body[name] = data.draw(ANY)
    text = json.dumps(body)
    answer = office.manager.post(action, content=text, headers={"Content-Type": "application/json"})
    if answer.status_code == 200:
        assert answer.json().get("verdict", "go") in {"go", "ask", "stop"}
    else:
        assert 400 <= answer.status_code < 500, (action, text, answer.text)
        assert answer.headers["content-type"] == MEDIA
        assert answer.json()["detail"]


def test_whatever_stands_in_a_pages_address_is_answered_with_a_page(office):
    load = steam_load(1)
    for text in [*NASTY, "%ff%fe", "a" * 3000]:
        told = text.encode("utf-8", "replace")
        for path, name in (
            ("/search", "q"),
            ("/sign-in", "next"),
            (f"/recalls/{load}", "reach"),
            (f"/recalls/{load}.pdf", "reach"),
            ("/", "day"),
        ):
            answer = office.manager.get(path, params={name: told})
            assert answer.status_code < 500, (path, text)
            assert "<script>alert" not in answer.text
        answer = office.manager.get("/packs/" + quote(told, safe=""))
        assert answer.status_code in {404, 422}, text


MARK = '</text></title></script>"\'><x-mark onclick="alert(1)">'


class Shown(HTMLParser):
    """The text of a page, and what stands in it that is none of ours."""

    def __init__(self):
        super().__init__()
        self.strange, self.text = [], []

    def handle_starttag(self, tag, attrs):
        if tag == "x-mark" or any(name.startswith("on") for name, _ in attrs):
            self.strange.append((tag, attrs))
        self.text += [value or "" for _, value in attrs]

    def handle_data(self, data):
        self.text.append(data)


def named(word):
    return f"{word} {MARK} & שלום 😀"


@pytest.fixture
def marked(bridge):
    """A practice in which everything that anybody can name or type is called by markup."""
    client = TestClient(make_app(bridge.desk, add_pages), raise_server_exceptions=False)
    bridge.written.check = lambda _answer: None  # markup is in no catalogue

    def post(path, **body):
        answer = client.post(path, json={"id": bridge.new_id(), "by": MANAGER} | body).json()
        assert answer["verdict"] == "go", answer
        return answer["subject"]

    sheet = [{"group": named("Group"), "line": named("Line"), "count": 2}]
    one = post(
        "/api/sets", name=named("Set"), sheet=sheet, mark={"colour": named("C")[:40], "pattern": named("P")[:40]}
    )
    post("/api/staff", badge=codes.badge_code(SITE, 9).text, name=named("Person"), roles=["nurse"], may_release=True)
    post("/api/staff", badge=TECHNICIAN, name=named("Technician"), roles=["technician"])
    post(
        "/api/machines",
        machine="L-K7-1",
        kind="steriliser",
        removal="gravity",
        name=named("Machine"),
        programmes=["134/3"],
    )
    post("/api/patients", name=named("Animal"), species=named("Kind"), code=patient(1))
    bridge.wash([one])
    bridge.scan("packing-1", TECHNICIAN)
    bridge.scans("packing-1", one, "YES", "YES", f"={named('Lot')}", "DONE")
    pack = bridge.pack_of(one)
    bridge.scan("packing-1", pack)
    load = bridge.sterilise([pack], 1)
    post(f"/api/loads/{load}/indicators", lot=named("Vial")[:60], control_lot="x", due="2026-03-06")
    bridge.scans("theatre-1", NURSE, patient(1), pack, SURGEON, f"={named('Emergency')}", "TURNED")
    assert bridge.record("pack", pack).opened_at
    post(f"/api/loads/{load}/hold", why=named("Leak"))
    recall = post("/api/recalls", load=load, reach="load", why=named("Recalled"))
    post(f"/api/recalls/{recall}/accounted", pack=pack, found=named("Shelf"))
    post("/api/machines/L-K7-1/stop", why=named("Gasket"))
    bridge.scan("packing-1", f"={named('typed')}")
    bridge.scan("wash-1", named("code")[:300])
    return bridge, client, pack, load


def test_what_people_typed_is_text_on_every_page_it_reaches(marked):
    _, client, pack, load = marked
    stations = [
        f"/stations/{name}-1" for name in ("wash", "packing", "theatre", "office", "store", "loading", "unloading")
    ]
    pages = crawled(
        client, ("/", "/people", "/search?q=Set", "/search?q=Animal", f"/recalls/{load}", f"/packs/{pack}", *stations)
    )
    assert len(pages) > 20
    seen = ""
    for path, page in pages.items():
        shown = Shown()
        shown.feed(page)
        assert shown.strange == [], path
        assert "<x-mark" not in page, path
        seen += " ".join(shown.text)
    for word in ("Set", "Group", "Line", "Person", "Technician", "Machine", "Animal", "Emergency", "Leak", "Recalled"):
        assert f"{word} {MARK}" in seen, word


def test_what_people_typed_is_text_in_the_pdf_and_in_the_event_streams(marked):
    bridge, client, _, load = marked
    pdf = pypdfium2.PdfDocument(client.get(f"/recalls/{load}.pdf").content)
    text = "".join(page.get_textpage().get_text_range() for page in pdf).replace("\r\n", "")
    assert "Set </text>" in text
    assert "Animal </text>" in text
    with served(make_app(bridge.desk, add_pages)) as (host, port):
        for station in ("theatre-1", "packing-1"):
            with httpx.stream("GET", f"http://{host}:{port}/api/stations/{station}/events", timeout=20) as answer:
                lines = []
                for line in answer.iter_lines():
                    lines.append(line)
                    if not line:
                        break
            assert [line.partition(":")[0] for line in lines] == ["event", "data", ""]
            assert json.loads(lines[1][6:])["verdict"] in {"go", "ask", "stop"}


@pytest.mark.parametrize("mark", "\u202e\u202d\u2066\u2067\u2068\u200f\u200e\u061c\x00\x1b\x85")
def test_a_mark_that_turns_text_round_is_refused_at_the_office_and_left_out_at_a_station(bridge, mark):
    """Direction marks: Unicode Standard Annex 9, 2. Natural right-to-left text keeps to its own element."""
    client = TestClient(make_app(bridge.desk, add_pages))
    found = client.post("/api/patients", json={"id": bridge.new_id(), "name": f"Mi{mark}lo", "species": "cat"})
    assert (found.status_code, found.json()["field"]) == (422, "name")
    assert f"U+{ord(mark):04X}" in found.json()["detail"]
    one = bridge.new_set(f"Dental{mark} A")
    bridge.wash([one])
    bridge.scan("packing-1", TECHNICIAN)
    bridge.scans("packing-1", one, "YES", "YES", "YES", "YES", f"=24{mark}-117", "DONE")
    assert bridge.facts("packed")[-1].data["strip_lot"] == "24-117"
    for path in ("/", f"/sets/{one}", f"/packs/{bridge.pack_of(one)}"):
        page = client.get(path).text
        assert mark not in page, path
        assert "Dental A" in page, path


def test_text_from_right_to_left_is_isolated_from_the_words_beside_it():
    style = resources.files("service.pages").joinpath("static", "look.css").read_text("utf-8")
    isolated = set(re.search(r"([^}]*)\{unicode-bidi:isolate\}", style)[1].strip().split(","))
    assert {"a", "b", "span", "label", "button", "text", "tspan", "h1"} <= isolated
