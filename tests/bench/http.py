"""Accepted scans through HTTP: 64 stations, durable, full rules; the anchor commits one scan at a time."""

import json
import multiprocessing
import selectors
import socket
import threading
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import uvicorn

from label_templates import codes
from scanner.outbox import new_id
from service.api.app import make_app
from service.api.listen import free_port
from tests.bench.rows import row
from tests.practice import TECHNICIAN, TarnBridge, wash_load

STATIONS, EACH = 64, 80


def request(station, code):
    body = json.dumps({"id": new_id(), "station": station, "code": code}).encode()
    return b"POST /api/scans HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s" % (
        len(body),
        body,
    )


def answer(connection):
    data = b""
    while not whole(data):
        data += connection.recv(65536)
    return data


def whole(data):
    """Whether `data` is a whole HTTP answer."""
    head, gap, body = data.partition(b"\r\n\r\n")
    return bool(gap) and len(body) >= int(head.lower().split(b"content-length: ")[1].split(b"\r\n")[0])


def clients(port, sets, out):
    """Sixty-four stations, each posting its next scan as soon as the last is answered; one thread watches them all."""
    waits, wrong, chosen = [], [], selectors.DefaultSelector()
    for number in range(STATIONS):
        connection = socket.create_connection(("127.0.0.1", port))
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        name = f"wash-{number + 1}"
        for code in (TECHNICIAN, wash_load(number + 1)):
            connection.sendall(request(name, code))
            answer(connection)
        queue = [request(name, code) for code in sets[number * EACH : (number + 1) * EACH]]
        chosen.register(connection, selectors.EVENT_READ, {"queue": queue[::-1], "data": b"", "sent": 0.0})
    began, left = time.perf_counter(), STATIONS * EACH
    for key in list(chosen.get_map().values()):
        key.data["sent"] = time.perf_counter()
        key.fileobj.sendall(key.data["queue"].pop())
    while left:
        for key, _ in chosen.select():
            station = key.data
            station["data"] += key.fileobj.recv(65536)
            if not whole(station["data"]):
                continue
            waits.append(time.perf_counter() - station["sent"])
            if b'"verdict":"go"' not in station["data"]:
                wrong.append(station["data"][:300])
            station["data"], left = b"", left - 1
            if station["queue"]:
                station["sent"] = time.perf_counter()
                key.fileobj.sendall(station["queue"].pop())
    out.put((len(waits) / (time.perf_counter() - began), float(np.percentile(waits, 99)) * 1000, wrong[:3]))


def run():
    with TemporaryDirectory() as place:
        bridge = TarnBridge(Path(place))
        futures = []
        for number in range(STATIONS * EACH + 200):
            body = {
                "name": f"Set {number}",
                "kind": "single",
                "implant": False,
                "sheet": [{"group": "g", "line": "l", "count": 1}],
            }
            futures.append(bridge.desk.act(bridge.new_id(), "register set", by=None, body=body))
        made = [future.result(60)["subject"] for future in futures]
        bound = free_port("127.0.0.1", 0)
        server = uvicorn.Server(uvicorn.Config(make_app(bridge.desk), log_config=None, access_log=False))
        bridge.scans("wash-99", TECHNICIAN, codes.load_code("W-K7-1", 999).text)
        began = time.perf_counter()
        for one in made[-200:]:
            bridge.scan("wash-99", one)
        anchor = 200 / (time.perf_counter() - began)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]}, daemon=True)
        thread.start()
        context = multiprocessing.get_context("spawn")
        out = context.Queue()
        other = context.Process(target=clients, args=(bound.getsockname()[1], made[:-200], out))
        other.start()
        rate, late, wrong = out.get(timeout=180)
        other.join()
        server.should_exit = True
        thread.join(10)
    assert not wrong, wrong
    return [
        row("accepted scans through HTTP, 64 stations", rate, anchor, "scans/s", ">= 2500/s", rate >= 2500, 0),
        row("the same, 99th percentile", late, 60, "ms", "<= 60 ms", late <= 60),
    ]
