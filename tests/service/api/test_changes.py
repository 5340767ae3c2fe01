"""What an open board hears: that something changed, at once, once for many facts, and from another service too."""

import json
import threading
import time
from contextlib import contextmanager, suppress

import httpx
import pytest

from service.api import changes
from service.api.app import make_app
from service.ledger.sqlite import SqliteLedger
from service.pages.routes import add_pages
from tests.practice import TECHNICIAN, TarnBridge, chosen
from tests.served import running


@pytest.fixture
def live(tmp_path, monkeypatch):
    """The practice, and its service on a free port."""
    monkeypatch.setattr(changes, "HEARTBEAT_S", 0.4)
    bridge = TarnBridge(tmp_path)
    with running(make_app(bridge.desk, add_pages), timeout_graceful_shutdown=3) as service:
        yield bridge, service


@contextmanager
def listening(url):
    """The events of an open board, as (name, seconds since it opened, data), gathered while it is open."""
    heard, began, stop = [], time.monotonic(), threading.Event()

    def listen():
        with suppress(httpx.RemoteProtocolError), httpx.stream("GET", f"{url}/api/board/events", timeout=10) as answer:
            name = ""
            for line in answer.iter_lines():
                if line.startswith("event: "):
                    name = line[7:]
                if line.startswith("data: "):
                    heard.append((name, time.monotonic() - began, json.loads(line[6:])))
                if stop.is_set():
                    return

    thread = threading.Thread(target=listen, daemon=True)
    thread.start()
    yield heard
    stop.set()
    thread.join(10)


def until(what, seconds=10):
    deadline = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def versions(heard):
    return [data["version"] for name, _, data in heard if name == "changed"]


def test_a_board_hears_of_the_offices_acts_and_of_scans_and_a_heartbeat(live):
    bridge, service = live
    with listening(service.url) as heard:
        until(lambda: ("heartbeat", {}) in [(name, data) for name, _, data in heard])
        for act in (bridge.new_set, lambda: bridge.scan("wash-1", "B-K7-099-X")):
            act()
            wanted = str(len(bridge.facts()))
            until(lambda wanted=wanted: any(version.split(" ")[0] == wanted for version in versions(heard)))


def test_many_facts_at_once_are_told_about_once_a_second_and_the_last_of_them_is_told(live):
    bridge, service = live
    with listening(service.url) as heard:
        until(lambda: len(versions(heard)) >= 1)
        before, began = len(versions(heard)), time.monotonic()
        for number in range(60):
            bridge.new_set(f"Set {number}")
        last = str(len(bridge.facts()))
        until(lambda: versions(heard)[-1].split(" ")[0] == last)
        took = time.monotonic() - began
        assert len(versions(heard)) - before <= took / changes.PAUSE_S + 2


def test_what_another_service_on_the_same_ledger_wrote_is_told_too(live):
    bridge, service = live
    other = TarnBridge.over(SqliteLedger(bridge.path, chosen()), fresh=False)
    with listening(service.url) as heard:
        until(lambda: len(versions(heard)) >= 1)
        other.scan("wash-1", TECHNICIAN)
        other.new_set("Written elsewhere")
        wanted = str(len(bridge.facts()))
        until(lambda: any(version.split(" ")[0] == wanted for version in versions(heard)))
    other.close()


def test_open_boards_do_not_hold_up_the_end_of_the_service(live):
    _, service = live
    with listening(service.url) as heard:
        until(lambda: versions(heard))
        assert service.end() < 5


def test_an_outsider_hears_nothing_of_the_board(tmp_path):
    from starlette.testclient import TestClient

    from tests.entry import Entry

    bridge = TarnBridge(tmp_path)
    entry = Entry(bridge.desk)
    app = make_app(bridge.desk, add_pages, doors=entry.doors)
    tablet = entry.device("theatre")
    with TestClient(app) as client:
        for headers in ({}, {"Authorization": f"Bearer {tablet}"}):
            answers = [
                client.get(path, headers=headers, follow_redirects=False).status_code
                for path in ("/api/board/events", "/board", "/")
            ]
            assert answers in ([401, 303, 303], [403, 303, 303])
