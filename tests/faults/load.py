"""Stations at work: many clients that scan without end, send again what got no answer, and reckon up at the end."""

import http.client
import json
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

from scanner.outbox import new_id
from service.ledger.verify import verify
from tests.practice import TECHNICIAN, wash_load

ROOT = Path(__file__).resolve().parents[2]
A_LOAD = 16
"""Sets that a station washes in one load."""


def furnish(bridge, stations):
    """Sets for each station to wash: a list a station."""
    futures = []
    for number in range(stations * A_LOAD):
        body = {
            "name": f"Set {number}",
            "kind": "single",
            "implant": False,
            "sheet": [{"group": "g", "line": "l", "count": 1}],
        }
        futures.append(bridge.desk.act(bridge.new_id(), "register set", by=None, body=body))
    made = [future.result(60)["subject"] for future in futures]
    return [made[n * A_LOAD : (n + 1) * A_LOAD] for n in range(stations)]


class Service:
    """`foldmark serve` in a process of its own; `env` may bring the shim."""

    def __init__(self, ledger, env=None, site=None, port=0):
        words = ["--ledger", str(ledger), *(["--site", site] if site else []), "serve", "--port", str(port)]
        self.process = subprocess.Popen([sys.executable, "-m", "service.cli", *words], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                                        text=True, env=os.environ | {"PYTHONPATH": str(ROOT)} | (env or {}))  # fmt: skip
        self.port = int(self.process.stdout.readline().split("http://")[1].split()[0].rsplit(":", 1)[1])

    def kill(self):
        self.process.kill()
        self.process.wait(10)

    def stop(self):
        self.process.terminate()
        self.process.wait(30)


class Stations:
    """One thread a station. Each washes its sets in load after load; each wash fails, so that they go in again.

    A scan without an answer is sent again, under its id, until it has one: as a scanner's outbox does.
    """

    def __init__(self, sets, token, first=1):
        self.sets, self.token, self.first = sets, token, first
        self.port = 0
        self.pause = 0.0
        """Seconds each station rests after a scan."""
        self.answered = {}
        self.doubts = 0
        """Scans that got no answer the first time."""
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._work, args=(n,), daemon=True) for n in range(len(sets))]

    def start(self, port):
        self.port = port
        for thread in self._threads:
            thread.start()
        return self

    def wait_for(self, count, seconds=120):
        """Until so many more scans are acknowledged."""
        wanted, deadline = len(self.answered) + count, time.monotonic() + seconds
        while len(self.answered) < wanted:
            assert any(thread.is_alive() for thread in self._threads), "a station failed"
            assert time.monotonic() < deadline, f"only {len(self.answered)} of {wanted} acknowledged"
            time.sleep(0.002)

    def stop(self):
        """Let every station have its last answer, then end."""
        self._stop.set()
        for thread in self._threads:
            thread.join(60)
        assert not any(thread.is_alive() for thread in self._threads)

    def _work(self, index):
        station, mine, load = f"wash-{self.first + index}", self.sets[index], self.first + index
        connection = self._send(None, station, TECHNICIAN)
        while True:
            for code in (wash_load(load), *mine, "K-DONE-P", "K-FAIL-0"):
                if self._stop.is_set():
                    return
                connection = self._send(connection, station, code)
                time.sleep(self.pause)
            load += len(self.sets)

    def _send(self, connection, station, code):
        body = json.dumps({"id": new_id(), "station": station, "code": code}).encode()
        headers = {"Content-Type": "application/json", "Authorization": f"Bearer {self.token}"}
        first = True
        while True:
            try:
                if connection is None:
                    connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=15)
                connection.request("POST", "/api/scans", body, headers)
                response = connection.getresponse()
                answer = json.loads(response.read())
                if response.status == 200:
                    self.answered[json.loads(body)["id"]] = (body, answer)
                    return connection
            except (OSError, http.client.HTTPException, ValueError):
                pass
            self.doubts += first
            first = False
            if connection:
                connection.close()
            connection = None
            time.sleep(0.02)


def reckon(ledger, stations, fault, rounds, **more):
    """Hold the ledger to what was acknowledged, print the fault's line, and fail unless nothing is lost or doubled."""
    with ledger.reading() as reader:
        found = verify(reader)
        mine = [
            fact
            for fact in reader.facts()
            if fact.kind in {"received", "wash_loaded", "wash_ended"} and fact.station.startswith("wash-")
        ]
        scans = list(stations.answered)
        kept = {
            scan: json.loads(text)
            for at in range(0, len(scans), 500)
            for scan, text in reader.answers(scans[at : at + 500]).items()
        }
    assert found.fault is None, found.fault
    written = {fact.id for fact in mine}
    told = [fact for _, answer in stations.answered.values() for fact in answer["facts"]]
    lost = [
        scan
        for scan, (_, answer) in stations.answered.items()
        if not set(answer["facts"]) <= written or kept.get(scan) != answer
    ]
    doubled = (len(told) - len(set(told))) + len(written - set(told))
    go = sum(answer["verdict"] != "stop" for _, answer in stations.answered.values())
    line = {"fault": fault, "rounds": rounds, "acknowledged": len(stations.answered), "without an answer at first": stations.doubts,
            "lost": len(lost), "duplicated": doubled, **more}  # fmt: skip
    print(f"\n{json.dumps(line)}")
    assert go == len(stations.answered), next(a for _, a in stations.answered.values() if a["verdict"] == "stop")
    assert (lost, doubled) == ([], 0)
    return line
