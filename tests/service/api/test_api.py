"""HTTP: every endpoint, one shape for every error, streams, and a service that stays up."""

import json
import re

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from label_templates import codes
from service.api.acts import POSTS
from service.api.app import make_app
from service.api.listen import PortError, free_port
from service.api.problems import MEDIA
from service.demo.cycles import dated, made_cycle
from service.pages.routes import add_pages
from service.steam.programme import programme
from tests.practice import MANAGER, NURSE, SHEET, TECHNICIAN, TarnBridge, card, patient, steam_load, wash_load

NINTH = codes.badge_code("K7", 9).text


class Over:
    """Tarn Bridge over HTTP."""

    def __init__(self, folder, **choices):
        self.bridge = TarnBridge(folder, **choices)
        self.client = TestClient(make_app(self.bridge.desk, add_pages), raise_server_exceptions=False)
        self.client.__enter__()

    def close(self):
        self.client.__exit__(None, None, None)

    def post(self, path, **body):
        return self.client.post(path, json={"id": self.bridge.new_id(), "by": MANAGER} | body)

    def scan(self, station, code):
        return self.client.post("/api/scans", json={"id": self.bridge.new_id(), "station": station, "code": code})


@pytest.fixture
def over(tmp_path):
    made = Over(tmp_path)
    yield made
    made.close()


def problem(answer, status):
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"].startswith(MEDIA)
    body = answer.json()
    assert {"type", "title", "status", "detail"} <= body.keys()
    assert body["status"] == status
    assert "Traceback" not in answer.text
    return body


def test_a_scan_is_answered_with_verdict_headline_detail_next_subject_and_facts(over):
    answer = over.scan("wash-1", TECHNICIAN)
    assert answer.status_code == 200
    assert answer.json().keys() >= {"verdict", "headline", "detail", "next", "subject", "facts"}
    assert answer.json()["verdict"] == "go"


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "id"), ({"id": "x", "station": "wash-1", "code": "K-WET-E"}, "id"), ({"station": "wash-1"}, "id"),
        ({"station": "kitchen-1", "code": "K-WET-E"}, "station"), ({"station": "wash-1", "code": ""}, "code"),
        ({"station": "wash-1", "code": "x" * 301}, "code"), ({"station": "wash-1", "code": 5}, "code"),
        ({"station": "wash-1", "code": "K-WET-E", "seen_at": "yesterday"}, "seen_at"),
        ({"station": "wash-1", "code": "K-WET-E", "seen_at": "2026-03-04T10:00:00"}, "seen_at"),
    ],
)  # fmt: skip
def test_a_scan_that_cannot_be_taken_names_its_field(over, body, field):
    told = body if "id" in body or not body or field == "id" else body | {"id": over.bridge.new_id()}
    assert problem(over.client.post("/api/scans", json=told), 422)["field"] == field


@pytest.mark.parametrize("data", [b"", b"nonsense", b"[1]", b'"x"', b"\xff\xfe", b"[" * 100_000])
def test_a_body_that_is_no_object_is_a_problem(over, data):
    problem(over.client.post("/api/scans", content=data), 422)


@pytest.mark.parametrize("text", ["=\\ud800", "\\udfff", "=\\u0000", "=a\\u202eb", "=e\\u0301", "=\\ud83d\\ude00"])
def test_odd_text_is_taken_or_refused_and_the_next_scan_goes_on(over, text):
    bridge = over.bridge
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16")
    for path, field in (("/api/scans", "code"), ("/api/patients", "name")):
        body = f'{{"id": "{bridge.new_id()}", "station": "packing-1", "species": "cat", "{field}": "{text}"}}'
        answer = over.client.post(path, content=body)
        assert answer.status_code in {200, 422}, answer.text
    assert over.scan("packing-1", "K-DONE-P").status_code == 200


def test_a_body_too_large_is_refused_declared_or_not(over):
    problem(over.client.post("/api/scans", content=b"x" * (5 << 20)), 413)
    problem(over.client.post("/api/scans", content=(b"x" * 65536 for _ in range(100))), 413)


def test_a_body_of_another_kind_is_refused_and_writes_nothing(over):
    """Such as a form of another site's page can send: the Fetch standard's CORS-safelisted request-header."""
    before = len(over.bridge.facts())
    for path, kind, body in (
        ("/api/scans", "text/plain", '{"id": "x"}'), ("/api/scans", "application/x-www-form-urlencoded", "id=x"),
        ("/api/sets", "text/plain", "{}"), ("/api/sets", "multipart/form-data; boundary=x", ""), ("/api/sets", "", "{}"),
        (f"/api/loads/{steam_load(1)}/cycle?id={over.bridge.new_id()}", "application/json", "{}"),
    ):  # fmt: skip
        found = problem(over.client.post(path, content=body, headers={"Content-Type": kind}), 415)
        assert "Content-Type" in found["detail"]
    assert (
        over.client.post(
            "/api/scans", content="{}", headers={"Content-Type": "Application/JSON; charset=utf-8"}
        ).status_code
        == 422
    )
    assert len(over.bridge.facts()) == before


def test_paths_and_methods_that_are_not_there_are_problems(over):
    problem(over.client.get("/api/nothing"), 404)
    problem(over.client.get("/api/sets/"), 404)
    refused = over.client.get("/api/scans")
    problem(refused, 405)
    assert refused.headers["allow"] == "POST"
    assert over.client.put("/api/sets").headers["allow"] == "GET, POST"


@pytest.mark.parametrize("path", ["/api/sets/", "/api/packs/", "/api/loads/", "/api/recalls/"])
def test_a_malformed_code_is_422_and_an_unknown_one_404(over, path):
    letter = {"s": "S", "p": "P", "l": "L", "r": "L"}[path[5]]
    unknown = {
        "S": codes.set_code("K7", 99).text,
        "P": codes.pack_code(codes.set_code("K7", 99).text, 1).text,
        "L": steam_load(99),
    }[letter]
    problem(over.client.get(path + "nonsense"), 422)
    problem(over.client.get(path + unknown[:-1] + ("A" if unknown[-1] != "A" else "B")), 422)
    problem(over.client.get(path + unknown), 404)


def test_every_look_answers(over):
    bridge = over.bridge
    pack, load = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    get = lambda path: over.client.get(path).raise_for_status().json()
    one = bridge.record("pack", pack).set
    assert get(f"/api/packs/{pack}")["state"] == "opened"
    assert get(f"/api/packs/{pack}/custody")["gaps"] == []
    assert get(f"/api/sets/{one}")["packs"][0]["code"] == pack
    assert [row["code"] for row in get("/api/sets")] == [one]
    assert get(f"/api/loads/{load}")["packs"] == [pack]
    assert {row["code"] for row in get("/api/loads?limit=9")} == {load, wash_load(1)}
    assert get(f"/api/recalls/{load}?reach=since")["patients"] == [patient(812)]
    assert get("/api/recalls") == []
    assert [row["state"] for row in get("/api/packs")] == ["opened"]
    assert {row["code"] for row in get("/api/machines")} == {"W-K7-1", "L-K7-1"}
    assert [row["code"] for row in get("/api/staff")] == sorted(
        [TECHNICIAN, NURSE, MANAGER, codes.badge_code("K7", 1).text]
    )
    assert get("/api/patients") == []
    assert get(f"/api/patients/{patient(812)}")["cases"][0]["packs"] == [pack]
    assert get("/api/stations/theatre-1")["open"]["number"] == "1 packs"
    assert get("/health")["status"] == "ok"
    problem(over.client.get(f"/api/recalls/{load}?reach=sideways"), 422)
    problem(over.client.get(f"/api/patients/{patient(1)}"), 404)
    problem(over.client.get("/api/stations/kitchen-1"), 422)


def test_the_office_acts_over_http_and_names_stay_beside_the_ledger(over):
    badge = codes.badge_code("K7", 9).text
    made = over.post("/api/staff", badge=badge, name="Tamsin Vale", roles=["nurse"], may_release=True).json()
    assert made["verdict"] == "go"
    new = over.post("/api/sets", name="Eye set 1", sheet=SHEET, mark={"colour": "green", "pattern": "dots"}).json()[
        "subject"
    ]
    assert over.client.get(f"/api/sets/{new}").json()["mark_pattern"] == "dots"
    code = over.post("/api/patients", name="Milo", species="cat").json()["subject"]
    assert over.client.get(f"/api/patients/{code}").json()["name"] == "Milo"
    assert "Tamsin" not in json.dumps([fact.as_dict() for fact in over.bridge.facts()])
    assert "Milo" not in json.dumps([fact.as_dict() for fact in over.bridge.facts()])
    assert over.post(f"/api/staff/{badge}/left").json()["verdict"] == "go"
    assert over.post(f"/api/sets/{new}/retire", why="worn").json()["verdict"] == "go"
    assert over.post("/api/machines/L-K7-1/stop", why="leak").json()["verdict"] == "go"
    assert over.post("/api/machines/L-K7-1/return", why="mended").json()["verdict"] == "go"


def test_a_cycle_log_is_judged_kept_and_released(over, tmp_path):
    import numpy as np

    bridge = over.bridge.pump()
    bridge.air_removal_test()
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE", "1")
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1), "END", "PASS", pack)
    log = dated(
        made_cycle(programme("134/3"), np.random.default_rng(1)), bridge.record("load", steam_load(1)).started_at
    )
    query = {"id": bridge.new_id(), "by": MANAGER}
    path = f"/api/loads/{steam_load(1)}/cycle"
    for bad, words in ((b"", "empty"), (b"a,b\n1,2", "missing"), (b"seconds,temperature_c\n0,nan\n1,2", "no reading")):
        assert (
            words in problem(over.client.post(path, params=query | {"id": bridge.new_id()}, content=bad), 422)["detail"]
        )
    assert (
        "choose among '121/30'"
        in problem(over.client.post(path, params=query | {"programme": "99/9"}, content=log), 422)["detail"]
    )
    problem(over.client.post(f"/api/loads/{steam_load(9)}/cycle", params=query, content=log), 409)
    answer = over.client.post(path, params=query, content=log).raise_for_status().json()
    assert (answer["verdict"], answer["judgement"]["verdict"]) == ("go", "pass")
    with bridge.desk.ledger.reading() as reader:
        assert reader.log(steam_load(1))[2] == log
    placed = over.post(f"/api/loads/{steam_load(1)}/indicators", lot="B", control_lot="B", due="2026-03-06")
    assert placed.json()["verdict"] == "go"
    assert over.post(f"/api/loads/{steam_load(1)}/release", by=NURSE).json()["verdict"] == "go"
    assert over.post(f"/api/loads/{steam_load(1)}/hold", why="x").json()["verdict"] == "go"
    read = over.post(f"/api/loads/{steam_load(1)}/indicators/read", result="positive", lot="B", control="grew")
    assert read.json()["verdict"] == "go"
    opened = over.post("/api/recalls", load=steam_load(1), reach="since", why="positive").json()
    recall = opened["subject"]
    assert over.post(f"/api/recalls/{recall}/accounted", pack=pack, found="shelf 2").json()["verdict"] == "go"
    assert over.post(f"/api/recalls/{recall}/close").json()["verdict"] == "go"
    assert over.post(f"/api/loads/{steam_load(1)}/reject", why="positive").json()["verdict"] == "go"
    assert over.post(f"/api/packs/{pack}/compromised", why="torn").json()["verdict"] == "go"


@pytest.mark.parametrize(
    ("path", "body", "field"),
    [
        ("/api/sets", {"name": "A"}, "sheet"), ("/api/sets", {"name": "A", "sheet": [1]}, "sheet"),
        ("/api/sets", {"name": "A", "sheet": [{"group": "g", "line": "l", "count": 0}]}, "sheet"),
        ("/api/sets", {"name": "x" * 2001, "sheet": SHEET}, "name"), ("/api/sets", {"name": "A", "sheet": SHEET, "implant": 1}, "implant"),
        ("/api/sets", {"name": "A", "sheet": SHEET, "colour": "red"}, "colour"), ("/api/patients", {"name": "Milo"}, "species"),
        ("/api/staff", {"badge": NINTH, "name": "N", "roles": "nurse"}, "roles"), ("/api/staff", {"badge": NINTH, "name": "N", "roles": []}, "roles"),
        ("/api/staff", {"badge": NINTH, "name": "N", "roles": ["king"]}, "roles"), ("/api/staff", {"badge": NINTH, "name": "", "roles": ["nurse"]}, "name"),
        ("/api/staff", {"badge": "nonsense", "name": "N", "roles": ["nurse"]}, "badge"), ("/api/sets", {"name": "A", "kind": "box", "sheet": SHEET}, "kind"),
        ("/api/sets", {"name": "x" * 101, "sheet": SHEET}, "name"), ("/api/sets", {"name": "A", "sheet": SHEET * 100}, "sheet"),
        ("/api/sets", {"name": "A", "sheet": SHEET, "bears_c": 2**70}, "bears_c"), ("/api/sets", {"name": "A\u202eB", "sheet": SHEET}, "name"),
        ("/api/machines", {"machine": "L-K7-9", "kind": "kettle"}, "kind"), ("/api/machines", {"machine": "kettle", "kind": "hand"}, "machine"),
        ("/api/machines/L-K7-1/stop", {"why": "x" * 301}, "why"), ("/api/machines/L-K7-1/stop", {"why": None}, "why"),
        ("/api/machines/L-K7-1/stop", {"why": " x"}, "why"), ("/api/machines/L-K7-1/stop", {"why": "a\0b"}, "why"),
        ("/api/machines/kettle/stop", {"why": "x"}, "machine"), ("/api/recalls", {"load": "L-K7-1-0001-A", "why": "x"}, "load"),
        ("/api/recalls/L-K7-1/close", {}, "recall"), ("/api/machines/L-K7-1/stop", {"why": "x", "seen_at": "2026-02-30T00:00:00Z"}, "seen_at"),
    ],
)  # fmt: skip
def test_an_act_that_cannot_be_taken_names_its_field_and_writes_nothing(over, path, body, field):
    before = len(over.bridge.facts())
    found = problem(over.post(path, **body), 422)
    assert found["field"] == field
    assert field in found["detail"]
    assert len(over.bridge.facts()) == before


def test_an_act_the_rules_refuse_is_a_stop_with_its_reason(over):
    answer = over.post(f"/api/loads/{steam_load(7)}/release", by=NURSE)
    assert (answer.status_code, answer.json()["verdict"], answer.json()["rule"]) == (200, "stop", "load_not_open")
    assert over.post("/api/machines", machine="L-K7-9", kind="washer").json()["verdict"] == "stop"
    assert over.post("/api/sets", name="A", sheet=[SHEET[0], SHEET[0]]).json()["verdict"] == "stop"
    problem(over.post("/api/machines/L-K7-1/stop", by="nobody", why="x"), 422)
    problem(over.post("/api/machines/L-K7-1/stop", id="x", why="x"), 422)


def test_the_same_act_sent_twice_writes_once(over):
    act_id = over.bridge.new_id()
    first = over.post("/api/sets", id=act_id, name="Eye set 1", sheet=SHEET).json()
    again = over.post("/api/sets", id=act_id, name="Eye set 1", sheet=SHEET).json()
    assert first == again
    assert len(over.bridge.facts("set_registered")) == 1


def test_the_openapi_document_has_an_example_for_every_post(over):
    document = over.client.get("/openapi.json").json()
    assert document["openapi"].startswith("3.")
    posts = [(path, operation["post"]) for path, operation in document["paths"].items() if "post" in operation]
    assert len(posts) >= len(POSTS) + 2
    for path, post in posts:
        contents = post["requestBody"]["content"].values() if "requestBody" in post else []
        assert all("example" in content for content in contents), path
    example = document["paths"]["/api/scans"]["post"]["requestBody"]["content"]["application/json"]["example"]
    answer = over.client.post("/api/scans", json=example)
    assert answer.status_code == 200
    shown = document["paths"]["/api/scans"]["post"]["responses"]["200"]["content"]["application/json"]["example"]
    assert shown.keys() == answer.json().keys()
    refused = document["components"]["responses"]["Problem422"]["content"][MEDIA]["schema"]
    assert document["paths"]["/api/scans"]["post"]["responses"]["422"] == {"$ref": "#/components/responses/Problem422"}
    assert refused == {"$ref": "#/components/schemas/Problem"}
    jsonschema.validate(over.client.post("/api/scans", json={}).json(), document["components"]["schemas"]["Problem"])


def bounded(path, schema):
    """Every text and list that may be sent has a greatest length."""
    for name, field in schema.get("properties", {"": schema}).items():
        kinds = field.get("anyOf", [field])
        texts = [kind for kind in kinds if kind["type"] == "string" and "enum" not in kind]
        assert all("maxLength" in kind for kind in texts), (path, name)
        assert all("maxItems" in kind for kind in kinds if kind["type"] == "array"), (path, name)


def test_the_openapi_document_tells_the_body_and_every_answer_of_each_endpoint(over):
    document = over.client.get("/openapi.json").json()
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            assert {"200", "401", "403", "429", "503"} <= operation["responses"].keys(), path
            assert "schema" in next(iter(operation["responses"]["200"]["content"].values())), path
            if method == "post":
                assert {"413", "415", "422"} <= operation["responses"].keys(), path
                for content in operation["requestBody"]["content"].values():
                    bounded(path, content["schema"])
            for part in re.findall(r"{(\w+)}", path):
                assert [one["required"] for one in operation["parameters"] if one["name"] == part] == [True], (
                    path,
                    part,
                )
    body = document["paths"]["/api/sets"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    assert body["additionalProperties"] is False
    assert body["properties"]["sheet"]["items"]["properties"]["count"] == {
        "type": "integer",
        "minimum": 1,
        "maximum": 999,
    }


ANY = st.recursive(st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30),
                   lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3), max_leaves=8)  # fmt: skip


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_whatever_is_posted_there_is_no_500(over, data):
    known = st.sampled_from(
        [TECHNICIAN, steam_load(1), wash_load(1), card("DONE"), card("UNDO"), "=12", patient(1), "P-K7-0001-0001-Z"]
    )
    post = data.draw(st.sampled_from([None, *POSTS]))
    names = [field[0] for field in post.fields] if post else ["station", "code", "seen_at", "sent_at"]
    values = {
        name: data.draw(st.one_of(known, ANY, st.sampled_from(["wash-1", "theatre-1", "2026-03-04T08:00:00Z"])))
        for name in names
    }
    path = "/api/scans"
    if post:
        path = "/api" + post.path
        for part in ("badge", "machine", "set", "patient", "load", "pack"):
            path = path.replace(
                "{" + part + "}", data.draw(st.sampled_from([TECHNICIAN, steam_load(1), "L-K7-1", "x"]))
            )
        path = path.replace("{recall:path}", "L-K7-1-0001-J/1")
    values["id"] = over.bridge.new_id()
    try:
        text = json.dumps(values)
    except ValueError:
        return
    answer = over.client.post(path, content=text.encode("utf-8", "surrogatepass"))
    assert answer.status_code < 500, (path, values, answer.text)
    if answer.status_code != 200:
        assert answer.headers["content-type"].startswith(MEDIA)


def test_a_port_in_use_is_said_in_one_line():
    bound = free_port("127.0.0.1", 0)
    with pytest.raises(PortError, match="is in use"):
        free_port("127.0.0.1", bound.getsockname()[1])
    bound.close()
    with pytest.raises(PortError, match="cannot be used"):
        free_port("192.0.2.1", 0)


def test_a_ledger_that_cannot_be_written_is_503_and_the_service_stays_up(over, monkeypatch):
    import resource
    import signal

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    old = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        assert "send it again" in problem(over.scan("wash-1", TECHNICIAN), 503)["detail"]
        problem(over.post("/api/sets", name="A", sheet=SHEET), 503)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, old)
    assert over.scan("wash-1", TECHNICIAN).json()["verdict"] == "go"
    assert over.bridge.path.exists()
