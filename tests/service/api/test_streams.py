"""Stations' screens: what is new is read beside the writer, shown as it stands last, and not lost when a look fails."""

import json
import threading
import time

import httpx

from service.api import streams
from service.ledger.store import LedgerUnavailable
from service.stations.screen import screen
from tests.practice import MANAGER, NURSE, TECHNICIAN
from tests.service.api.test_api import served  # noqa: F401  (a fixture)


def heard_until(url, what, act, seconds=25):
    """The headlines a screen of wash-1 showed, from the moment it was open, until one says `what`."""
    headlines, deadline = [], time.monotonic() + seconds
    with httpx.stream("GET", f"{url}/api/stations/wash-1/events", timeout=seconds) as answer:
        for line in answer.iter_lines():
            if line.startswith("data: ") and len(line) > 10:
                headlines.append(json.loads(line[6:])["headline"])
                if len(headlines) == 1:
                    threading.Thread(target=act).start()
                if what in headlines[-1]:
                    return headlines
            assert time.monotonic() < deadline, headlines
    raise AssertionError(headlines)


def test_a_screen_that_takes_long_to_read_holds_up_no_answer(served, monkeypatch):  # noqa: F811
    url, bridge, _, _ = served
    slow = threading.Event()

    def slowly(reader, station):
        if slow.is_set():
            time.sleep(3)
        return screen(reader, station)

    monkeypatch.setattr(streams, "screen", slowly)
    took = []

    def scan():
        slow.set()
        began = time.monotonic()
        bridge.scan("wash-1", TECHNICIAN)
        bridge.scan("wash-1", NURSE)
        took.append(time.monotonic() - began)

    assert heard_until(url, "Badge 005", scan)
    assert took[0] < 2.5


def test_what_changes_faster_than_it_is_read_is_shown_as_it_stands_last(served, monkeypatch):  # noqa: F811
    url, bridge, _, _ = served
    read = []
    monkeypatch.setattr(streams, "screen", lambda *which: (time.sleep(0.2), read.append(1), screen(*which))[2])

    def scan():
        for _ in range(20):
            bridge.scan("wash-1", TECHNICIAN)
        bridge.scan("wash-1", MANAGER)

    headlines = heard_until(url, "Badge 002", scan)
    assert headlines[-1].startswith("Badge 002")
    assert len(read) < 15


def test_a_screen_that_could_not_be_read_is_read_again(served, monkeypatch, caplog):  # noqa: F811
    url, bridge, _, _ = served
    failures = []

    def sometimes(reader, station):
        if failures and failures.pop():
            raise LedgerUnavailable("the server is away")
        return screen(reader, station)

    monkeypatch.setattr(streams, "screen", sometimes)

    def scan():
        failures[:] = [True, True]
        bridge.scan("wash-1", TECHNICIAN)

    assert heard_until(url, "Badge 003", scan)[-1].startswith("Badge 003")
    assert failures == []
    assert "screens not shown what is new" in caplog.text
