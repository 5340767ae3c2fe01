"""Closed doors over HTTP: nobody is told anything who has not signed in or been enrolled, and nobody does what is not theirs."""

import re

import pytest
from starlette.routing import Mount
from starlette.testclient import TestClient

from label_templates import codes
from service.access.doors import TRIES
from service.api.app import make_app
from service.cli.serve import first_link
from service.pages.routes import add_pages
from tests.entry import PIN, Entry
from tests.practice import MANAGER, NURSE, SITE, TECHNICIAN, card, patient
from tests.service.api.test_api import problem

AUDITOR = codes.badge_code(SITE, 6).text
OPEN = {"/sign-in", "/enrol", "/start", "/health", "/static"}
OPEN_WRITES = {"/api/session", "/api/pin", "/api/devices/claim"}


class Closed:
    """Tarn Bridge behind closed doors, over HTTP; people and devices as clients of their own."""

    def __init__(self, bridge):
        self.bridge = bridge
        bridge.act("enrol staff", badge=AUDITOR, roles=["auditor"], may_release=False)
        self.entry = Entry(bridge.desk)
        self.app = make_app(bridge.desk, add_pages, None, self.entry.doors)
        self.nobody = self.client(None)

    def client(self, token):
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        return TestClient(self.app, headers=headers, raise_server_exceptions=False, follow_redirects=False)

    def person(self, badge):
        return self.client(self.entry.person(badge))

    def device(self, *stations):
        return self.client(self.entry.device(*stations))

    def scan(self, client, station, code):
        return client.post("/api/scans", json={"id": self.bridge.new_id(), "station": station, "code": code})

    def post(self, client, path, **body):
        return client.post(path, json={"id": self.bridge.new_id()} | body)


@pytest.fixture
def closed(bridge):
    return Closed(bridge)


def routes(router):
    """Every route of a router and of those it includes, however the framework keeps them."""
    for route in router.routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            yield from routes(inner)
        elif not isinstance(route, Mount):
            yield route


def addresses(closed):
    """Every address the application answers, with a method, its parameters filled in with what is there."""
    app = closed.app
    while not hasattr(app, "routes"):
        app = app._app
    pack, load = closed.bridge.ready()
    fill = {"station": "theatre-1", "pack": pack, "load": load, "set": "S-K7-0001-H", "badge": NURSE, "patient": patient(1),
            "recall": f"{load}/1", "machine": "L-K7-1", "device": "D1"}  # fmt: skip
    by_path = {
        "/packs": pack,
        "/sets": fill["set"],
        "/loads": load,
        "/recalls": load,
        "/start": "X",
        "/patients": patient(1),
    }
    for route in routes(app):
        path = re.sub(r"{(\w+)(:path)?}", lambda m: fill.get(m[1], "{code}"), route.path)
        path = path.replace("{code}", next((code for start, code in by_path.items() if start in path), "X"))
        for method in sorted(route.methods - {"HEAD"}):
            yield route.path, method, path


def test_nobody_is_told_anything_at_any_address_and_nothing_is_written(closed):
    """The probe goes through every route there is, so that a new one cannot be forgotten."""
    found = list(addresses(closed))
    before = len(closed.bridge.facts())
    told = []
    for route, method, path in found:
        answer = closed.nobody.request(method, path, json={"id": closed.bridge.new_id()} if method != "GET" else None)
        allowed = (
            route in OPEN if method == "GET" else route in OPEN_WRITES or (method == "DELETE" and route in OPEN_WRITES)
        )
        refused = answer.status_code == 401 or (
            answer.status_code == 303 and answer.headers["location"].startswith("/sign-in?next=")
        )
        if refused == allowed:
            told.append((method, route, answer.status_code))
        if "Dental" in answer.text or NURSE in answer.text or "theatre-1 is" in answer.text:
            told.append((method, route, "practice data"))
    assert told == []
    assert len(found) > 55
    assert len(closed.bridge.facts()) == before


def test_a_token_of_nobodys_opens_nothing(closed):
    for token in (b"x", b"D1.x", b"." * 100, b"\xe9", b"", PIN.encode()):
        client = TestClient(closed.app, raise_server_exceptions=False, follow_redirects=False)
        problem(client.get("/api/sets", headers=[(b"authorization", b"Bearer " + token)]), 401)
        problem(client.get("/api/sets", headers=[(b"cookie", b"foldmark_session=" + token)]), 401)
        problem(client.get("/api/sets", headers=[(b"cookie", b"foldmark_device=" + token)]), 401)


def test_a_device_scans_at_its_kind_of_station_and_sees_nothing_else(closed):
    tablet = closed.device("theatre")
    assert closed.scan(tablet, "theatre-1", NURSE).json()["verdict"] == "go"
    assert "enrolled for theatre" in problem(closed.scan(tablet, "wash-1", NURSE), 403)["detail"]
    assert tablet.get("/stations/theatre-2").status_code == 200
    assert tablet.get("/api/stations/theatre-1").status_code == 200
    problem(tablet.get("/api/stations/wash-1"), 403)
    for path in ("/", "/loads", "/people", "/search?q=Dental", "/stations/office-1"):
        assert tablet.get(path).headers["location"].startswith("/sign-in?next=/"), path
    for path in ("/api/sets", "/metrics", "/api/devices"):
        problem(tablet.get(path), 403)
    problem(closed.post(tablet, "/api/recalls", load="L-K7-1-0001-X", why="x"), 403)


def test_a_device_revoked_in_mid_shift_is_out(closed):
    tablet = closed.device()
    assert closed.scan(tablet, "wash-1", TECHNICIAN).status_code == 200
    manager = closed.person(MANAGER)
    (device,) = [row["device"] for row in manager.get("/api/devices").json()]
    assert closed.post(manager, f"/api/devices/{device}/revoke", pin=PIN).status_code == 200
    problem(closed.scan(tablet, "wash-1", card("DONE")), 401)
    assert manager.get("/api/devices").json()[0]["revoked"]
    assert "secret" not in manager.get("/api/devices").text


def test_an_act_stands_for_who_signed_in_and_takes_the_pin_where_the_table_says_so(closed):
    pack, load = closed.bridge.ready()
    closed.bridge.act("hold", load=load, why="leak found at the door")
    nurse = closed.person(NURSE)
    told = {"why": "leak was a drop of rinse water"}
    assert "PIN" in problem(closed.post(nurse, f"/api/loads/{load}/release", **told), 403)["detail"]
    problem(closed.post(nurse, f"/api/loads/{load}/release", pin="300000", **told), 403)
    problem(closed.post(nurse, f"/api/loads/{load}/release", pin=7, **told), 422)
    assert (
        "signed in as"
        in problem(closed.post(nurse, f"/api/loads/{load}/release", pin=PIN, by=MANAGER, **told), 403)["detail"]
    )
    assert closed.bridge.record("load", load).held
    answer = closed.post(nurse, f"/api/loads/{load}/release", pin=PIN, **told).json()
    assert answer["verdict"] == "go", answer
    assert closed.bridge.facts("released")[-1].by == NURSE
    assert PIN not in str([fact.as_dict() for fact in closed.bridge.facts()])
    assert closed.post(nurse, f"/api/packs/{pack}/compromised", why="wet").json()["verdict"] == "go"


def test_an_auditor_reads_all_and_changes_nothing(closed):
    pack, load = closed.bridge.ready()
    auditor = closed.person(AUDITOR)
    for path in (
        "/",
        "/loads",
        f"/packs/{pack}",
        f"/recalls/{load}",
        f"/recalls/{load}.pdf",
        "/api/staff",
        f"/api/packs/{pack}/custody",
        "/metrics",
    ):
        assert auditor.get(path).status_code == 200, path
    before = len(closed.bridge.facts())
    for path, body in ((f"/api/loads/{load}/hold", {"why": "x"}), ("/api/machines/L-K7-1/stop", {"why": "x"}),
                       (f"/api/packs/{pack}/compromised", {"why": "wet"})):  # fmt: skip
        answer = closed.post(auditor, path, **body).json()
        assert (answer["verdict"], answer["rule"]) == ("stop", "not_your_role"), path
    problem(closed.post(auditor, "/api/patients", name="Milo", species="cat"), 403)
    problem(closed.scan(auditor, "wash-1", AUDITOR), 403)
    problem(auditor.get("/api/devices"), 403)
    problem(auditor.get("/api/sign-ins"), 403)
    assert auditor.get("/people").status_code == 403
    assert {fact.kind for fact in closed.bridge.facts()[before:]} == {"refused"}


def test_signing_in_sets_a_cookie_that_no_script_reads_and_no_other_site_sends(closed):
    closed.entry.person(NURSE)
    browser = TestClient(closed.app, follow_redirects=False)
    refused = browser.post("/api/session", json={"badge": NURSE, "pin": "300000"})
    assert "do not fit together" in problem(refused, 403)["detail"]
    answer = browser.post("/api/session", json={"badge": NURSE, "pin": PIN})
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert PIN not in answer.text
    assert browser.get("/").status_code == 200
    assert NURSE in browser.get("/").text
    assert browser.delete("/api/session").status_code == 200
    assert browser.get("/").status_code == 303
    safe = TestClient(closed.app, base_url="https://testserver")
    assert "secure" in safe.post("/api/session", json={"badge": NURSE, "pin": PIN}).headers["set-cookie"].lower()


def test_a_sign_out_everywhere_ends_the_other_browser_too(closed):
    one, two = closed.person(NURSE), closed.person(NURSE)
    assert one.get("/api/sets").status_code == two.get("/api/sets").status_code == 200
    assert one.delete("/api/session/everywhere").json()["ended"] >= 2
    problem(one.get("/api/sets"), 401)
    problem(two.get("/api/sets"), 401)
    problem(closed.nobody.delete("/api/session/everywhere"), 401)


def test_a_badge_locked_out_is_told_until_when_and_the_service_says_so_with_429(closed):
    closed.entry.person(NURSE)
    answers = [
        closed.nobody.post("/api/session", json={"badge": NURSE, "pin": "300000"}).status_code
        for _ in range(TRIES["badge"] + 2)
    ]
    assert answers == [403] * TRIES["badge"] + [429] * 2


def test_the_way_in_of_a_new_practice(closed):
    """The first link makes the manager's PIN; the manager makes links and codes for everyone else."""
    code = first_link(closed.entry.doors, closed.bridge.desk)
    assert "Choose your PIN" in closed.nobody.get("/start").text
    assert "digits" in problem(closed.nobody.post("/api/pin", json={"code": code, "pin": "123456"}), 422)["detail"]
    assert closed.nobody.post("/api/pin", json={"code": code, "pin": PIN}).json() == {"badge": MANAGER}
    assert first_link(closed.entry.doors, closed.bridge.desk) is None
    manager = TestClient(closed.app, follow_redirects=False)
    manager.post("/api/session", json={"badge": MANAGER, "pin": PIN})
    page = manager.get("/people").text
    assert TECHNICIAN in page
    problem(manager.post(f"/api/staff/{NURSE}/link", json={}), 403)
    link = manager.post(f"/api/staff/{NURSE}/link", json={"pin": PIN}).json()["code"]
    assert closed.nobody.post("/api/pin", json={"code": link, "pin": "813507"}).json() == {"badge": NURSE}
    problem(manager.post("/api/devices", json={"name": "Tablet", "stations": ["kitchen"], "pin": PIN}), 422)
    made = manager.post("/api/devices", json={"name": "Tablet", "stations": ["theatre"], "pin": PIN}).json()["code"]
    tablet = TestClient(closed.app, follow_redirects=False)
    assert tablet.get("/stations/theatre-1").headers["location"] == "/sign-in?next=/stations/theatre-1"
    assert tablet.post("/api/devices/claim", json={"code": made}).status_code == 200
    assert tablet.get("/stations/theatre-1").status_code == 200
    problem(closed.nobody.post("/api/devices/claim", json={"code": made}), 403)
    assert "Tablet" in manager.get("/people").text
    assert "device enrolled" in manager.get("/api/sign-ins").text


@pytest.mark.parametrize(
    ("wanted", "then"),
    [("/loads", "/loads"), ("/search?q=Milo", "/search?q=Milo"), ("//elsewhere.example", "/"), ("https://elsewhere.example/", "/"),
     ("/\\elsewhere.example", "/"), ("javascript:alert(1)", "/"), ('/"><script>', "/&#34;&gt;&lt;script&gt;"), ("/a\nb", "/")],
)  # fmt: skip
def test_signing_in_goes_on_to_a_page_of_ours_only(closed, wanted, then):
    page = closed.nobody.get("/sign-in", params={"next": wanted}).text
    assert f'data-then="{then}"' in page


def test_a_service_whose_first_manager_is_not_made_yet_makes_one(at_work):
    practice = at_work(site="Q9")
    entry = Entry(practice.desk)
    for person in (MANAGER, NURSE, TECHNICIAN):
        practice.act("staff left", by=None, badge=person)
    code = first_link(entry.doors, practice.desk)
    assert entry.doors.choose_pin(code, PIN, "") == codes.badge_code("Q9", 1).text
