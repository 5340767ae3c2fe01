"""The ledger alone: facts appended, replayed and verified, a recall, memory at rest; anchors in raw sqlite3."""

import os
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import httpx

from service.custody.recall import report
from service.ledger.ids import uuid7
from service.ledger.sqlite import SqliteLedger
from service.ledger.tables import INSERT_FACT, fact_row
from service.ledger.verify import verify
from tests.bench.rows import row, seconds
from tests.practice import TarnBridge, steam_load

TURNS = 60


def grown(folder):
    """Tarn Bridge after many turns of six sets, by the office's acts: its path, practice and facts."""
    bridge = TarnBridge(folder)
    sets = [bridge.new_set(f"Set {n}") for n in range(6)]
    for turn in range(1, TURNS + 1):
        bridge.wash(sets, turn)
        packs = [bridge.pack(one) for one in sets]
        load = bridge.sterilise(packs, turn)
        bridge.release(load)
        for pack in packs:
            bridge.act("open unused", pack=pack)
    facts = bridge.facts()
    practice = bridge.practice
    bridge.close()
    return bridge.path, practice, facts


def raw(path, facts, batch):
    db = sqlite3.connect(path, isolation_level=None)
    db.executescript("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; CREATE TABLE fact (site, seq, id, kind, at, noted_at, station, "
                     '"by", "set", pack, load, patient, data, prev, hash, PRIMARY KEY (site, seq)) WITHOUT ROWID')  # fmt: skip
    rows = [fact_row(fact) for fact in facts]

    def work():
        for start in range(0, len(rows), batch):
            db.execute("BEGIN IMMEDIATE")
            db.executemany(INSERT_FACT, rows[start : start + batch])
            db.execute("COMMIT")

    taken = seconds(work)
    db.close()
    return len(rows) / taken


def resident(pid):
    """Resident memory in MB."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    raise RuntimeError("no VmRSS")


def at_rest(path):
    """Memory of `foldmark serve` that has answered and rests."""
    root = str(Path(__file__).parents[2])
    running = subprocess.Popen([sys.executable, "-m", "service.cli", "--ledger", str(path), "serve", "--port", "0"], stdout=subprocess.PIPE,
                               text=True, env=os.environ | {"PYTHONPATH": root})  # fmt: skip
    try:
        address = running.stdout.readline().split("http://")[1].split()[0]
        for page in ("/health", "/", "/loads"):
            httpx.get(f"http://{address}{page}").raise_for_status()
        time.sleep(1)
        return resident(running.pid)
    finally:
        running.terminate()
        running.wait(10)


def run():
    with TemporaryDirectory() as place:
        folder = Path(place)
        path, practice, facts = grown(folder)
        one_each, hundreds = raw(folder / "a.db", facts[:2000], 1), raw(folder / "b.db", facts, 100)
        ledger = SqliteLedger(path, practice)
        with ledger.reading() as reader:
            checked = len(facts) / seconds(lambda: verify(reader), 2)
            load = reader.state.load(steam_load(TURNS // 2))
            recall = 1000 * seconds(lambda: report(reader.state, load, "load"), 5)
            first = 1000 * seconds(lambda: report(reader.state, reader.state.load(steam_load(1)), "load"), 5)
        ledger.close()
        made = _append(folder / "c", facts)
        memory = at_rest(path)
    return [
        row(
            f"replay and verify of {len(facts)} facts, one core",
            checked,
            hundreds,
            "facts/s",
            ">= 30000/s",
            checked >= 30_000,
            0,
        ),
        row(
            "facts appended in batches of 100, sealed and folded",
            made,
            hundreds,
            "facts/s",
            "beside raw inserts of 100",
            made > one_each,
            0,
        ),
        row(
            f"recall of one load among {len(facts)} facts",
            recall,
            first,
            "ms",
            "<= 10 ms (asked of 10 million)",
            recall <= 10,
            3,
        ),
        row("memory of the service at rest", memory, 120, "MB", "<= 120 MB", memory <= 120),
    ]


def _append(folder, facts):
    """The same facts noted anew through the ledger, a hundred a batch."""
    from service.ledger.sqlite import create
    from tests.practice import chosen

    folder.mkdir()
    create(folder / "l.db")
    ledger = SqliteLedger(folder / "l.db", chosen())
    plain = [
        type(f)(**(f.as_dict() | {"seq": 0, "id": "", "noted_at": "", "prev": "", "hash": ""}))
        for f in facts
        if f.kind != "amended"
    ]

    def work():
        for start in range(0, len(plain), 100):
            with ledger.batch(1_772_611_200_000) as batch:
                for fact in plain[start : start + 100]:
                    with batch.part() as part:
                        part.note([fact])

    taken = seconds(work)
    ledger.close()
    assert uuid7(0, b"0123456789")
    return len(plain) / taken
