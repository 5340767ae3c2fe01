"""What a station's screen hears, and many clients at once."""

import json
import threading

import httpx
import pytest

from service.api import streams
from service.api.app import make_app
from service.pages.routes import add_pages
from tests.practice import TECHNICIAN, TarnBridge, wash_load
from tests.served import running


@pytest.fixture
def live(tmp_path, monkeypatch):
    """The practice, and its service on a free port."""
    monkeypatch.setattr(streams, "HEARTBEAT_S", 0.2)
    bridge = TarnBridge(tmp_path)
    with running(make_app(bridge.desk, add_pages), timeout_graceful_shutdown=3) as service:
        yield bridge, service


def test_a_screen_hears_of_a_scan_and_of_a_heartbeat(live):
    bridge, service = live
    heard = []
    with httpx.stream("GET", f"{service.url}/api/stations/wash-1/events", timeout=5) as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        for line in answer.iter_lines():
            heard.append(line)
            if len(heard) == 2:
                bridge.scan("wash-1", TECHNICIAN)
            if line == "event: heartbeat":
                break
    events = [json.loads(line[6:]) for line in heard if line.startswith("data: ") and len(line) > 10]
    assert events[0]["headline"] == "Scan your badge."
    assert events[-1]["headline"] == "Badge 003 is working here."
    assert events[-1]["last"][0]["code"] == TECHNICIAN


def test_an_open_stream_does_not_hold_up_the_end_of_the_service(live):
    _, service = live
    with httpx.stream("GET", f"{service.url}/api/stations/wash-1/events", timeout=5) as answer:
        next(answer.iter_lines())
        assert service.end() < 5


def test_many_clients_at_once_lose_and_double_nothing(live):
    bridge, service = live
    sets = [bridge.new_set(f"Set {n}") for n in range(40)]
    for n in range(1, 5):
        bridge.scans(f"wash-{n}", TECHNICIAN, wash_load(n))
    answers = []

    def client(number):
        with httpx.Client(base_url=service.url) as http:
            for one in sets[number - 1 :: 4]:
                body = {"id": bridge.new_id(), "station": f"wash-{number}", "code": one}
                for _ in range(2):
                    answers.append(http.post("/api/scans", json=body).json()["verdict"])

    threads = [threading.Thread(target=client, args=(n,)) for n in range(1, 5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers == ["go"] * 80
    assert len(bridge.facts("received")) == 40
