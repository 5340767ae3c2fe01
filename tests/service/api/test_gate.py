"""The gate: what other sites and slow clients may not do."""

import json
import socket
import time

import pytest

from service.api import gate
from service.api.app import make_app
from service.api.problems import MEDIA
from service.pages.routes import add_pages
from tests.practice import TECHNICIAN, TarnBridge
from tests.served import served as at_an_address
from tests.service.api.test_api import Over, problem


@pytest.fixture
def over(tmp_path):
    made = Over(tmp_path)
    yield made
    made.close()


@pytest.mark.parametrize(
    "path", ["/", "/stations/theatre-1", "/search?q=x", "/packs/nonsense", "/api/sets", "/api/packs/x", "/health", "/static/look.css",
             "/nowhere"],
)  # fmt: skip
def test_every_answer_forbids_framing_sniffing_and_foreign_or_inline_script(over, path):
    headers = over.client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert (headers["x-frame-options"], headers["x-content-type-options"]) == ("DENY", "nosniff")
    assert headers["cache-control"] == ("max-age=3600" if path.startswith("/static") else "no-store")


@pytest.mark.parametrize(
    ("headers", "taken"),
    [
        ({}, True), ({"Sec-Fetch-Site": "same-origin"}, True), ({"Sec-Fetch-Site": "none"}, True),
        ({"Origin": "http://testserver"}, True), ({"Sec-Fetch-Site": "cross-site"}, False),
        ({"Sec-Fetch-Site": "same-site"}, False), ({"Origin": "http://elsewhere.example"}, False), ({"Origin": "null"}, False),
        ({"Origin": "http://testserver.elsewhere.example"}, False), ({"Origin": "http://testserver:81"}, False),
        ({"Sec-Fetch-Site": "cross-site", "Origin": "http://testserver"}, False),
    ],
)  # fmt: skip
def test_a_write_from_another_sites_page_is_refused_and_writes_nothing(over, headers, taken):
    """Header values: W3C Fetch Metadata Request Headers 2.4; RFC 6454 7."""
    before = len(over.bridge.facts())
    body = {"id": over.bridge.new_id(), "station": "wash-1", "code": "P-K7-0001-0001-X"}
    answer = over.client.post("/api/scans", json=body, headers=headers)
    act = over.client.post("/api/recalls", json={"id": over.bridge.new_id()}, headers=headers)
    if taken:
        assert answer.status_code == 200
        problem(act, 422)
    else:
        for one in (answer, act):
            assert "another site's page" in problem(one, 403)["detail"]
        assert len(over.bridge.facts()) == before


@pytest.fixture
def served(tmp_path, monkeypatch):
    monkeypatch.setattr(gate, "HEAD_S", 0.5)
    monkeypatch.setattr(gate, "BODY_S", 0.5)
    bridge = TarnBridge(tmp_path)
    with at_an_address(make_app(bridge.desk, add_pages)) as address:
        yield bridge, address


def _end_of(connection, seconds=5):
    """What came until the other side closed, and whether it closed in time."""
    connection.settimeout(seconds)
    came = b""
    try:
        while more := connection.recv(65536):
            came += more
    except TimeoutError:
        return came, False
    return came, True


def test_half_a_request_and_none_at_all_are_let_go_while_others_are_answered(served):
    bridge, address = served
    halves = [socket.create_connection(address) for _ in range(200)]
    for number, half in enumerate(halves):
        half.sendall(b"" if number % 2 else b"GET /health HTTP/1.1\r\nHost: x\r\nX-Slow: ")
    with socket.create_connection(address) as other:
        other.sendall(b"GET /health HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        came, closed = _end_of(other)
        assert closed
        assert came.startswith(b"HTTP/1.1 200")
    time.sleep(0.8)
    assert all(_end_of(half)[1] for half in halves)
    assert bridge.desk.waiting == 0


def test_a_second_request_that_stops_half_way_is_let_go_too(served):
    _, address = served
    with socket.create_connection(address) as kept:
        kept.sendall(b"GET /health HTTP/1.1\r\nHost: x\r\n\r\n")
        assert kept.recv(65536).startswith(b"HTTP/1.1 200")
        kept.sendall(b"GET /health HTTP/1.1\r\nHost: x\r\nX-Slow: ")
        began = time.monotonic()
        assert _end_of(kept)[1]
        assert time.monotonic() - began < 3


def test_a_body_that_stalls_is_answered_and_let_go_and_writes_nothing(served):
    bridge, address = served
    before = len(bridge.facts())
    with socket.create_connection(address) as slow:
        slow.sendall(b"POST /api/scans HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: 500\r\n\r\n{")
        came, closed = _end_of(slow)
    assert closed
    assert b" 408 " in came.splitlines()[0]
    assert b"nothing came" in came
    assert len(bridge.facts()) == before


def _answer(address, sent):
    """The status, the headers and the problem document that come for these bytes."""
    with socket.create_connection(address) as connection:
        connection.sendall(sent)
        came, closed = _end_of(connection)
    assert closed
    head, _, body = came.partition(b"\r\n\r\n")
    lines = head.decode().lower().split("\r\n")
    headers = dict(line.split(": ", 1) for line in lines[1:])
    assert headers["content-type"] == MEDIA
    assert int(headers["content-length"]) == len(body)
    assert headers["x-content-type-options"] == "nosniff"
    found = json.loads(body)
    assert found["status"] == int(lines[0].split()[1])
    return found["status"], found["detail"]


@pytest.mark.parametrize(
    ("sent", "status", "words"),
    [
        (b"nonsense\r\n\r\n", 400, "not HTTP/1.1"),
        (b"GET /health HTTP/9.9\r\n\r\n", 400, "not HTTP/1.1"),
        (b"GET /\xff HTTP/1.1\r\nHost: x\r\n\r\n", 400, "not HTTP/1.1"),
        (b"POST /api/scans HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n", 400, "not HTTP/1.1"),
        (b"POST /api/scans HTTP/1.1\r\nHost: x\r\nContent-Length: 2\r\nContent-Length: 3\r\n\r\n{}", 400, "not HTTP/1.1"),
        (b"GET /api/sets/" + b"S" * 5000 + b" HTTP/1.1\r\nHost: x\r\n\r\n", 414, "4096"),
        (b"GET /search?q=" + b"%41" * 2000 + b" HTTP/1.1\r\nHost: x\r\n\r\n", 414, "4096"),
        (b"GET /search?" + b"&q" * 3000 + b" HTTP/1.1\r\nHost: x\r\n\r\n", 414, "4096"),
        (b"GET /health HTTP/1.1\r\nHost: x\r\nX-A: " + b"a" * 20_000 + b"\r\n\r\n", 431, "16384"),
        (b"GET /health HTTP/1.1\r\nHost: x\r\n" + b"X-A: a\r\n" * 6000 + b"\r\n", 431, "16384"),
    ],
    ids=["words", "version", "bytes", "negative", "two-lengths", "path", "query", "names", "header", "headers"],
)  # fmt: skip
def test_a_head_that_cannot_be_taken_is_a_problem_and_the_end(served, sent, status, words):
    """Statuses: RFC 9110 15.5.1 and 15.5.15, RFC 6585 5."""
    found, detail = _answer(served[1], sent)
    assert found == status
    assert words in detail


def test_a_head_without_an_end_is_cut_off_long_before_its_time(served, monkeypatch):
    monkeypatch.setattr(gate, "HEAD_S", 60)
    with socket.create_connection(served[1]) as endless:
        endless.sendall(b"GET /health HTTP/1.1\r\nHost: x\r\nX-A: ")
        with pytest.raises((ConnectionResetError, BrokenPipeError)):
            for _ in range(400):
                endless.sendall(b"a" * 65536)


def test_a_connection_used_again_is_not_let_go_in_the_middle(served):
    bridge, address = served
    with socket.create_connection(address) as kept:
        for _ in range(3):
            kept.sendall(b"GET /health HTTP/1.1\r\nHost: x\r\n\r\n")
            came = b""
            while not came.endswith(b"}"):
                came += kept.recv(65536)
            assert came.startswith(b"HTTP/1.1 200")
            time.sleep(0.65)
    assert bridge.scan("wash-1", TECHNICIAN)["verdict"] == "go"
