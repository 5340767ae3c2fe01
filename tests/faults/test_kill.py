"""The service killed under load: no acknowledged scan is lost, none is written twice."""

import json
import os
import subprocess
import sys
import threading
import time
from collections import Counter
from pathlib import Path

import httpx

from label_templates import codes
from scanner.outbox import new_id
from service.ledger.sqlite import SqliteLedger
from service.ledger.verify import verify
from tests.practice import SHEET, TECHNICIAN, TarnBridge, chosen, wash_load

ROOT = Path(__file__).resolve().parents[2]
ROUNDS, CLIENTS, EACH = 3, 8, 80


def serve(path):
    running = subprocess.Popen([sys.executable, "-m", "service.cli", "--ledger", str(path), "serve", "--port", "0"],
                               stdout=subprocess.PIPE, text=True, env=os.environ | {"PYTHONPATH": str(ROOT)})  # fmt: skip
    return running, f"http://{running.stdout.readline().split('http://')[1].split()[0]}"


def test_kill_9_under_eight_clients_loses_and_doubles_no_acknowledged_scan(tmp_path, capsys):
    bridge = TarnBridge(tmp_path)
    sets = [bridge.new_set(f"Set {n}", kind="single", sheet=SHEET[:1]) for n in range(ROUNDS * CLIENTS * EACH)]
    bridge.close()
    acknowledged, unanswered = [], []
    for number in range(ROUNDS):
        running, url = serve(bridge.path)
        target = number * 200 + 120

        def client(station, mine, url=url, number=number):
            name, load = f"wash-{station}", wash_load(number * CLIENTS + station)
            with httpx.Client(base_url=url, timeout=5) as http:
                try:
                    for code in (TECHNICIAN, load, *mine):
                        body = {"id": new_id(), "station": name, "code": code}
                        unanswered.append(body)
                        answer = http.post("/api/scans", json=body)
                        unanswered.remove(body)
                        if code in sets and answer.json()["verdict"] == "go":
                            acknowledged.append((body, answer.json()))
                except httpx.HTTPError:
                    return

        chunk = sets[number * CLIENTS * EACH :]
        threads = [
            threading.Thread(target=client, args=(n + 1, chunk[n * EACH : (n + 1) * EACH])) for n in range(CLIENTS)
        ]
        for thread in threads:
            thread.start()
        while len(acknowledged) < target and any(thread.is_alive() for thread in threads):
            time.sleep(0.005)
        running.kill()
        running.wait(10)
        for thread in threads:
            thread.join()
    # What got no answer is sent again, as a scanner's outbox does; what was answered gets the same answer.
    running, url = serve(bridge.path)
    with httpx.Client(base_url=url, timeout=10) as http:
        for body in unanswered:
            http.post("/api/scans", json=body).raise_for_status()
        for body, answer in acknowledged[:: len(acknowledged) // 40]:
            assert http.post("/api/scans", json=body).json() == answer
    running.terminate()
    running.wait(15)
    ledger = SqliteLedger(bridge.path, chosen())
    with ledger.reading() as reader:
        received = Counter(fact.set for fact in reader.facts() if fact.kind == "received")
        ids = {fact.id for fact in reader.facts()}
        assert verify(reader).fault is None
    ledger.close()
    lost = [body["code"] for body, answer in acknowledged if not set(answer["facts"]) <= ids]
    doubled = [code for code, count in received.items() if count > 1]
    with capsys.disabled():
        told = {
            "fault": "kill -9",
            "rounds": ROUNDS,
            "acknowledged": len(acknowledged),
            "lost": len(lost),
            "duplicated": len(doubled),
        }
        print(f"\n{json.dumps(told)}")
    assert len(acknowledged) >= 500
    assert (lost, doubled) == ([], [])
    assert all(codes.is_code(code) for code in received)
