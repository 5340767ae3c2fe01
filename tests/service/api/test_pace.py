"""One client that asks too much is told to wait; nobody else waits for it, and no scan is lost or doubled."""

import re
import socket
import threading
import time

import httpx
import numpy as np
import pytest
from starlette.testclient import TestClient

from scanner.client import Client
from scanner.outbox import Outbox, new_id
from service.api.app import make_app
from service.api.pace import MOST_CLIENTS, SAVED_S, Pace, Paces
from service.api.problems import Problem
from service.pages.routes import add_pages
from service.stations.writer import utc_now
from tests.bench.http import request
from tests.entry import Entry, bearer
from tests.practice import MANAGER, TECHNICIAN, wash_load
from tests.served import served
from tests.service.api.test_api import problem

NOT_OURS = "P-K7-0042"
"""A text that is no code of ours: each scan of it that is heard becomes one fact `refused`."""


class Clock:
    at = 0.0

    def __call__(self):
        return self.at


def test_a_client_may_use_twenty_seconds_of_its_pace_at_once_and_then_waits():
    clock = Clock()
    pace = Pace(10, clock)
    for _ in range(10 * SAVED_S):
        pace.take("tablet")
    with pytest.raises(Problem) as refused:
        pace.take("tablet")
    assert (refused.value.status, refused.value.headers) == (429, {"Retry-After": "1"})
    pace.take("another")
    clock.at = 0.1
    pace.take("tablet")
    with pytest.raises(Problem):
        pace.take("tablet")
    clock.at = 3600
    for _ in range(10 * SAVED_S):
        pace.take("tablet")
    with pytest.raises(Problem):
        pace.take("tablet")


def test_however_many_clients_come_the_memory_of_them_has_an_end():
    clock = Clock()
    pace = Pace(1, clock)
    for number in range(3 * MOST_CLIENTS):
        clock.at += 0.001
        pace.take(f"client {number}")
        assert len(pace._left) <= MOST_CLIENTS


def flood(address, station, number, statuses):
    """Send as fast as one connection can, a hundred at a time, and keep the statuses that come back."""
    with socket.create_connection(address) as connection:
        for _ in range(number // 100):
            connection.sendall(b"".join(request(station, NOT_OURS, "x") for _ in range(100)))
            came = b""
            while came.count(b"HTTP/1.1 ") < 100 or not came.endswith(b"}"):
                came += connection.recv(1 << 20)
            statuses += re.findall(rb"HTTP/1.1 (\d+)", came)
            assert came.count(b"HTTP/1.1 429") == came.count(b"\r\nretry-after: 1\r\n")


def test_ten_thousand_quick_scans_from_one_tablet_do_not_keep_the_other_stations_waiting(bridge):
    bridge.scan("wash-1", TECHNICIAN)
    sets = [bridge.new_set(f"Set {number}") for number in range(60)]
    bridge.scan("wash-1", wash_load(1))
    bridge.scan("store-1", TECHNICIAN)
    before = len(bridge.facts("refused"))
    statuses, waits = [], []
    with served(make_app(bridge.desk, add_pages, paces=Paces.of(20, 20))) as address:
        threads = [threading.Thread(target=flood, args=(address, "store-1", 2500, statuses)) for _ in range(4)]
        for thread in threads:
            thread.start()
        with httpx.Client(base_url="http://{}:{}".format(*address), timeout=60) as honest:
            for one in sets:
                began = time.perf_counter()
                answer = honest.post("/api/scans", json={"id": new_id(), "station": "wash-1", "code": one})
                waits.append(time.perf_counter() - began)
                assert answer.json()["verdict"] == "go"
                time.sleep(0.02)
        for thread in threads:
            thread.join(300)
    taken = statuses.count(b"200")
    assert len(statuses) == 10_000
    assert set(statuses) == {b"200", b"429"}
    assert 20 * SAVED_S <= taken < 5000
    assert len(bridge.facts("refused")) - before == taken
    assert len(bridge.facts("received")) == 60
    assert np.percentile(waits, 95) < 0.5


def test_an_outbox_larger_than_the_pace_is_emptied_in_order_and_nothing_is_lost_or_double(bridge, tmp_path):
    bridge.at = utc_now()
    bridge.scan("wash-1", TECHNICIAN)
    outbox, codes = Outbox(tmp_path / "out.db"), []
    entry = Entry(bridge.desk)
    for number in range(20 * 6):
        codes.append(f"P-K7-{number + 1:04d}")  # no code of ours: the text is told in the fact as it was read
        outbox.put({"id": new_id(), "station": "wash-1", "code": codes[-1], "seen_at": utc_now().isoformat()})
    with served(make_app(bridge.desk, None, None, entry.doors, Paces.of(5, 5))) as address:
        client = Client("http://{}:{}".format(*address), outbox, utc_now, token=entry.device("wash"), timeout_s=30)
        rounds, deadline = 0, time.monotonic() + 120
        while outbox.waiting() and time.monotonic() < deadline:
            client.send_waiting()
            rounds += 1
            time.sleep(0.3)
        client.close()
    assert rounds > 2
    assert outbox.refused() == []
    assert [fact.data["code"] for fact in bridge.facts("refused")] == codes


def test_who_is_not_let_in_uses_up_the_address_and_no_enrolled_device_with_it(bridge):
    entry, no_time_goes_by = Entry(bridge.desk), lambda: 0.0
    paces = Paces(Pace(5, no_time_goes_by), Pace(5, no_time_goes_by))
    app = make_app(bridge.desk, add_pages, None, entry.doors, paces)
    stranger, tablet = TestClient(app), TestClient(app, headers=bearer(entry.device()))
    statuses = [stranger.get("/api/sets").status_code for _ in range(5 * SAVED_S + 20)]
    assert statuses[: 5 * SAVED_S] == [401] * (5 * SAVED_S)
    assert statuses[-1] == 429
    problem(stranger.post("/api/scans", json={}), 429)
    assert tablet.get("/stations/wash-1").status_code == 200
    assert tablet.post("/api/scans", json={"id": new_id(), "station": "wash-1", "code": TECHNICIAN}).status_code == 200
    manager = TestClient(app, headers=bearer(entry.person(MANAGER)))
    assert manager.get("/").status_code == 200


def test_a_practice_may_choose_any_number(bridge):
    client = TestClient(make_app(bridge.desk, add_pages, paces=Paces.of(0, 0)))
    body = {"station": "store-1", "code": NOT_OURS}
    assert {client.post("/api/scans", json=body | {"id": new_id()}).status_code for _ in range(1100)} == {200}


def test_two_hundred_clients_that_drip_keep_nobody_from_being_answered(bridge):
    """A byte a second each, in heads and in bodies, while another station scans."""
    with served(make_app(bridge.desk, add_pages)) as address:
        slow = [socket.create_connection(address) for _ in range(200)]
        stop = threading.Event()

        def drip():
            heads = [
                b"GET /health HTTP/1.1\r\nHost: x\r\nX-Slow: aaaaaaaaaaaa",
                b"POST /api/scans HTTP/1.1\r\nHost: x\r\nContent-Length: 500\r\n\r\n{       ",
            ]
            for at in range(60):
                for number, one in enumerate(slow):
                    text = heads[number % 2]
                    one.sendall(text[:40] if at == 0 else text[40 + at : 41 + at])
                if stop.wait(1):
                    return

        dripping = threading.Thread(target=drip)
        dripping.start()
        time.sleep(1.5)
        waits = []
        with httpx.Client(base_url="http://{}:{}".format(*address), timeout=30) as client:
            for _ in range(40):
                began = time.perf_counter()
                answer = client.post("/api/scans", json={"id": new_id(), "station": "wash-1", "code": TECHNICIAN})
                waits.append(time.perf_counter() - began)
                assert answer.json()["verdict"] == "go"
        stop.set()
        dripping.join()
        for one in slow:
            one.close()
    assert np.percentile(waits, 95) < 1
