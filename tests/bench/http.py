"""Accepted scans through HTTP, durable, full rules, on both stores; beside raw inserts, an fsync probe and a slow commit."""

import json
import multiprocessing
import os
import selectors
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from scanner.outbox import new_id
from service.ledger.opening import create_at, open_at
from service.ledger.tables import INSERT_FACT, fact_row
from tests.bench import grown
from tests.bench.ledger import resident
from tests.bench.rows import row, seconds
from tests.cluster import Cluster, programs
from tests.entry import Entry
from tests.faults.load import Service
from tests.faults.shim import Shim, compiler
from tests.practice import TECHNICIAN, TarnBridge, chosen, wash_load

CLIENTS = ((1, 400), (8, 150), (64, 80))
"""Stations, and the scans each makes."""
FEW, MANY = 10_000, 1_000_000
SHEET = [{"group": "g", "line": "l", "count": 1}]
RAW_TABLE = """CREATE TABLE fact (site TEXT, seq BIGINT, id TEXT, kind TEXT, at TEXT, noted_at TEXT, station TEXT, "by" TEXT, "set" TEXT, pack TEXT,
  load TEXT, patient TEXT, data TEXT, prev TEXT, hash TEXT, PRIMARY KEY (site, seq))"""


def request(station, code, token):
    body = json.dumps({"id": new_id(), "station": station, "code": code}).encode()
    head = "POST /api/scans HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    head += f"Authorization: Bearer {token}\r\nContent-Length: {len(body)}\r\n\r\n"
    return head.encode() + body


def answer(connection):
    data = b""
    while not whole(data):
        data += connection.recv(65536)
    return data


def whole(data):
    """Whether `data` is a whole HTTP answer."""
    head, gap, body = data.partition(b"\r\n\r\n")
    return bool(gap) and len(body) >= int(head.lower().split(b"content-length: ")[1].split(b"\r\n")[0])


def stations_work(port, token, first, stations, sets, out):
    """Each station posts its next scan as soon as the last is answered; one thread watches them all."""
    waits, wrong, chosen_ones, each = [], [], selectors.DefaultSelector(), len(sets) // stations
    for number in range(stations):
        connection = socket.create_connection(("127.0.0.1", port))
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        name = f"wash-{number + 1}"
        for code in (TECHNICIAN, wash_load(first + number)):
            connection.sendall(request(name, code, token))
            answer(connection)
        queue = [request(name, code, token) for code in sets[number * each : (number + 1) * each]]
        chosen_ones.register(connection, selectors.EVENT_READ, {"queue": queue[::-1], "data": b"", "sent": 0.0})
    began, left = time.perf_counter(), stations * each
    for key in list(chosen_ones.get_map().values()):
        key.data["sent"] = time.perf_counter()
        key.fileobj.sendall(key.data["queue"].pop())
    while left:
        for key, _ in chosen_ones.select():
            station = key.data
            station["data"] += key.fileobj.recv(65536)
            if not whole(station["data"]):
                continue
            waits.append(time.perf_counter() - station["sent"])
            if b'"verdict":"go"' not in station["data"]:
                wrong.append(station["data"][:400])
            station["data"], left = b"", left - 1
            if station["queue"]:
                station["sent"] = time.perf_counter()
                key.fileobj.sendall(station["queue"].pop())
    out.put((len(waits) / (time.perf_counter() - began), float(np.percentile(waits, 99)) * 1000, wrong[:3]))


def scans(where, token, sets, first, stations, env=None):
    """Scans a second, the 99th percentile in ms, and the service's memory in MB at the end."""
    service = Service(where, env)
    context = multiprocessing.get_context("spawn")
    out = context.Queue()
    other = context.Process(target=stations_work, args=(service.port, token, first, stations, sets, out))
    other.start()
    rate, late, wrong = out.get(timeout=300)
    other.join()
    memory = resident(service.process.pid)
    service.stop()
    assert not wrong, wrong
    return rate, late, memory


def furnished(where, *, facts=0, sets):
    """A ledger at `where`, grown to about `facts` facts; new sets to scan, its facts when new, and a scanner's token."""
    create_at(where)
    ledger = open_at(where, chosen())
    if facts:
        grown.grow(ledger, facts, _told(facts))
    bridge = TarnBridge.over(ledger, fresh=not facts)
    futures = [bridge.desk.act(bridge.new_id(), "register set", by=None, body={"name": f"Scanned {n}", "kind": "single", "implant": False, "sheet": SHEET})
               for n in range(sets)]  # fmt: skip
    made = [future.result(120)["subject"] for future in futures]
    facts = bridge.facts()[:3000] if not facts else []
    token = Entry(bridge.desk).device()
    bridge.close()
    return made, facts, token


def _told(total):
    shown = [0]

    def told(count):
        if count - shown[0] >= total // 5:
            shown[0] = count
            print(f"  grown to {count} facts", file=sys.stderr)

    return told


def raw_sqlite(path, rows, batch):
    db = sqlite3.connect(path, isolation_level=None)
    db.executescript(
        f"PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; DROP TABLE IF EXISTS fact; {RAW_TABLE} WITHOUT ROWID"
    )

    def work():
        for start in range(0, len(rows), batch):
            db.execute("BEGIN IMMEDIATE")
            db.executemany(INSERT_FACT, rows[start : start + batch])
            db.execute("COMMIT")

    taken = seconds(work)
    db.close()
    return len(rows) / taken


def raw_postgres(url, rows, batch):
    import psycopg

    insert = INSERT_FACT.replace("?", "%s")
    with psycopg.connect(url, autocommit=True) as db:
        db.execute("DROP TABLE IF EXISTS fact")
        db.execute(RAW_TABLE)

        def work():
            for start in range(0, len(rows), batch):
                with db.transaction():
                    if batch == 1:
                        db.execute(insert, rows[start])
                    else:
                        db.cursor().executemany(insert, rows[start : start + batch])

        return len(rows) / seconds(work)


def fsync_us(folder, env=None):
    """What one 4 KiB write and fdatasync costs on this disk, in microseconds."""
    program = ("import os,sys,time; f=os.open(sys.argv[1],os.O_RDWR|os.O_CREAT); os.write(f,bytes(4096)*8); n=100; t=time.perf_counter()\n"
               "for i in range(n): os.pwrite(f,bytes([i])*4096,0); os.fdatasync(f)\nprint((time.perf_counter()-t)/n*1e6)")  # fmt: skip
    done = subprocess.run([sys.executable, "-c", program, str(Path(folder) / "probe")], capture_output=True, text=True, check=True,
                          env=os.environ | (env or {}))  # fmt: skip
    return float(done.stdout)


def run():
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        folder.chmod(0o711)
        rows = [
            row(
                "one write and fdatasync on this disk",
                fsync_us(folder),
                0,
                "us",
                "a probe, no target",
                met=True,
                digits=0,
            )
        ]
        server = Cluster(folder / "pg") if programs() else None
        try:
            rows += _store(
                "SQLite",
                lambda name: str(folder / f"{name}.db"),
                lambda facts, batch: raw_sqlite(folder / "raw.db", facts, batch),
            )
            if server:
                rows += _store(
                    "PostgreSQL",
                    lambda _name: server.database(),
                    lambda facts, batch: raw_postgres(server.database(), facts, batch),
                )
            rows += _slow(folder)
        finally:
            if server:
                server.stop("immediate")
    return rows


def _store(name, place, raw):
    """One store: 1, 8 and 64 stations beside one raw durable insert a commit, and raw inserts in batches of 100."""
    rows = []
    for stations, each in CLIENTS:
        where = place(f"few-{stations}")
        sets, facts, token = furnished(where, sets=stations * each)
        if stations == 1:
            raw_rows = [fact_row(fact) for fact in facts] or [()]
            inserts = [list(one) for one in raw_rows]
        rate, late, memory = scans(where, token, sets, 1, stations)
        one_each, hundreds = raw(inserts[:400], 1), raw(inserts, 100)
        target = ">= 2500/s" if stations == 64 else "beside one raw insert a commit"
        rows.append(
            row(
                f"{name}: scans through HTTP, {stations} stations",
                rate,
                one_each,
                "scans/s",
                target,
                rate >= 2500 or stations != 64,
                0,
            )
        )
        if stations == 64:
            rows.append(row(f"{name}: the same, 99th percentile", late, 60, "ms", "<= 60 ms", late <= 60))
            rows.append(
                row(
                    f"{name}: the same, beside raw inserts of 100",
                    rate,
                    hundreds,
                    "scans/s",
                    "a ratio, no target",
                    met=True,
                    digits=0,
                )
            )
            rows.append(row(f"{name}: memory of the service under load", memory, 200, "MB", "no target", met=True))
    return rows


def _slow(folder):
    """Every fsync takes 8 ms: what group commit gains over one commit a scan."""
    if compiler() is None:
        print("no C compiler: the slow commit is not measured", file=sys.stderr)
        return []
    shim = Shim(folder)
    where = str(folder / "slow.db")
    sets, _, token = furnished(where, sets=64 * 20 + 60)
    shim.set(delay_ms=8)
    one, _, _ = scans(where, token, sets[-60:], 100, 1, shim.env)
    rate, late, _ = scans(where, token, sets[:-60], 1, 64, shim.env)
    cost = fsync_us(folder, shim.env)
    return [row("commit that costs 8 ms: 64 stations beside one commit each", rate, one, "scans/s", ">= 5 x", rate >= 5 * one, 0),
            row("the same, 99th percentile", late, 60, "ms", f"fsync {cost / 1000:.1f} ms; no target", met=True)]  # fmt: skip


def growth():
    """The same 64 stations at ten thousand and at a million facts, on both stores."""
    rows = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        folder.chmod(0o711)
        server = Cluster(folder / "pg") if programs() else None
        try:
            rows += _grown("SQLite", [str(folder / "few.db"), str(folder / "many.db")])
            if server:
                rows += _grown("PostgreSQL", [server.database(), server.database()])
        finally:
            if server:
                server.stop("immediate")
    return rows


def _grown(name, places):
    rates = []
    for where, facts in zip(places, (FEW, MANY), strict=True):
        print(f"{name}: growing a ledger of {facts} facts …", file=sys.stderr)
        sets, _, token = furnished(where, facts=facts, sets=64 * 75 * 2)
        best = max(scans(where, token, sets[half::2], 1 + 64 * half, 64)[0] for half in (0, 1))
        rates.append(best)
    few, many = rates
    return [
        row(
            f"{name}: 64 stations at {MANY} facts, beside {FEW}",
            many,
            few,
            "scans/s",
            "slower by <= 1.2",
            few / many <= 1.2,
            0,
        )
    ]
