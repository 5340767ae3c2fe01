"""Faults of the service and its file, under load: killed, out of room, read-only, a failing disk, a wrong clock."""

import os
import random
import shutil
import subprocess
import time

import httpx
import pytest

from service.ledger.sqlite import SqliteLedger
from service.ledger.store import LedgerError
from service.ledger.verify import verify
from tests.cluster import let_others_through
from tests.entry import Entry
from tests.faults.load import Service, Stations, furnish, reckon
from tests.faults.shim import Shim, compiler
from tests.practice import TECHNICIAN, TarnBridge, chosen, wash_load

CLIENTS, ROUNDS, EACH_ROUND = 64, 10, 2000


@pytest.fixture
def place(tmp_path):
    """Where the ledger will be; a test may put another disk there."""
    return tmp_path


def ready(place, clients=8):
    """A ledger with sets for so many stations, and the stations."""
    bridge = TarnBridge(place)
    sets, token = furnish(bridge, clients), Entry(bridge.desk).device()
    bridge.close()
    return bridge.path, Stations(sets, token)


def reckoned(path, stations, capsys, fault, rounds, **more):
    ledger = SqliteLedger(path, chosen())
    with capsys.disabled():
        line = reckon(ledger, stations, fault, rounds, **more)
    ledger.close()
    return line


@pytest.fixture
def shim(tmp_path):
    if compiler() is None:
        pytest.skip("no C compiler is installed: the failing disk and the wrong clock are not played")
    return Shim(tmp_path)


def test_kill_9_under_64_clients_loses_and_doubles_no_acknowledged_scan(place, capsys):
    path, stations = ready(place, CLIENTS)
    rng, service = random.Random(9), Service(path)
    stations.start(service.port)
    for _ in range(ROUNDS):
        stations.wait_for(EACH_ROUND)
        time.sleep(rng.random() * 0.05)
        service.kill()
        service = Service(path)
        stations.port = service.port
    stations.stop()
    service.stop()
    line = reckoned(path, stations, capsys, "kill -9", ROUNDS)
    assert line["acknowledged"] >= ROUNDS * EACH_ROUND
    assert line["without an answer at first"] > 0


def test_two_services_on_one_file_lose_and_double_nothing_and_fork_no_chain(place, capsys):
    path, stations = ready(place)
    services = [Service(path), Service(path)]
    stations.start(services[0].port)
    for number in range(10):
        stations.wait_for(100)
        stations.port = services[number % 2].port  # stations that reconnect change sides
        if number == 5:
            services[0].kill()
            services[0] = Service(path)
            stations.port = services[0].port
    stations.stop()
    for service in services:
        service.stop()
    reckoned(path, stations, capsys, "two services on one file", 10)


def test_a_full_disk_refuses_and_loses_nothing_and_the_service_goes_on_when_there_is_room(tmp_path, capsys):
    """A tmpfs of a few megabytes, mounted in a namespace of its own where that is allowed, by root otherwise."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=6m", "none", disk], capture_output=True, check=False
    ).returncode:
        pytest.skip("no right to mount a small disk: disk full is played by a limit on file size only")
    try:
        path, stations = ready(disk)
        service = Service(path)
        stations.start(service.port)
        stations.wait_for(200)
        filler = disk / "filler"
        full = 0
        for _ in range(3):
            with filler.open("wb", buffering=0) as file:
                try:
                    while True:
                        file.write(b"x" * 65536)
                except OSError:
                    full += 1
            before = stations.doubts
            deadline = time.monotonic() + 20
            while stations.doubts == before and time.monotonic() < deadline:
                time.sleep(0.01)
            assert stations.doubts > before, "a full disk must refuse"
            url, deadline = f"http://127.0.0.1:{service.port}/health", time.monotonic() + 10
            while (answer := httpx.get(url, timeout=15)).status_code == 200:
                assert time.monotonic() < deadline, "health must say that the disk is full"
            assert answer.status_code == 503
            assert answer.headers["content-type"].startswith("application/problem+json")
            filler.unlink()
            stations.wait_for(100)
        assert full == 3
        stations.stop()
        service.stop()
        reckoned(path, stations, capsys, "disk full", 3)
    finally:
        subprocess.run(["umount", "-l", disk], check=True)


def test_a_disk_that_fails_to_sync_acknowledges_nothing_and_recovers(place, shim, capsys):
    path, stations = ready(place)
    service = Service(path, shim.env)
    stations.start(service.port)
    for _ in range(3):
        stations.wait_for(100)
        shim.set(fail=True)
        time.sleep(0.1)
        settled = len(stations.answered)
        time.sleep(0.5)
        assert len(stations.answered) == settled
        shim.set()
    stations.wait_for(100)
    stations.stop()
    service.stop()
    reckoned(path, stations, capsys, "fsync error", 3)


def test_a_clock_that_jumps_by_hours_loses_nothing_and_the_order_stays(place, shim, capsys):
    path, stations = ready(place)
    service = Service(path, shim.env)
    stations.start(service.port)
    for off_s in (5 * 3600, -7 * 3600, 0, -3600, 90):
        shim.set(off_s=off_s)
        stations.wait_for(100)
    stations.stop()
    service.stop()
    ledger = SqliteLedger(path, chosen())
    with ledger.reading() as reader:
        noted = [fact.noted_at for fact in reader.facts()]
    ledger.close()
    assert noted != sorted(noted), "the clock did not jump"
    reckoned(path, stations, capsys, "clock jumps", 5)


def test_a_read_only_file_answers_503_and_the_ledger_is_as_it_was(tmp_path):
    bridge = TarnBridge(tmp_path)
    bridge.close()
    before = bridge.path.read_bytes()
    tmp_path.chmod(0o777)
    bridge.path.chmod(0o444)
    let_others_through(tmp_path)
    child = os.fork()
    if child == 0:  # pragma: no cover  (in the child)
        try:
            if os.geteuid() == 0:
                os.setgid(65534)
                os.setuid(65534)
            ledger = SqliteLedger(bridge.path, chosen())
            try:
                with ledger.batch(0) as batch:
                    batch.keep_hand("wash-1", "{}")
            except LedgerError as error:
                os._exit(7 if "cannot be written" in str(error) else 8)
            os._exit(9)
        except BaseException:  # noqa: BLE001
            os._exit(10)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) == 7
    assert bridge.path.read_bytes() == before


HELD_S = 130
"""Seconds a reader stays: minutes, as a report left open does."""


def test_a_reader_that_stays_for_minutes_holds_up_no_scan_and_the_log_shrinks_after(place, capsys):
    path, stations = ready(place)
    service = Service(path)
    ledger = SqliteLedger(path, chosen())
    log = path.with_name(path.name + "-wal")
    with ledger.reading() as reader:
        head = reader.head()
        stations.start(service.port)
        began = time.monotonic()
        stations.wait_for(4000)
        stations.pause = 2.0
        while time.monotonic() - began < HELD_S:
            stations.wait_for(20)
        held = time.monotonic() - began
        assert reader.head() == head
        grown = log.stat().st_size
    stations.pause = 0.0
    stations.wait_for(1500)
    stations.stop()
    left = log.stat().st_size
    service.stop()
    ledger.close()
    assert grown > 32 << 20
    assert left <= 16 << 20
    reckoned(path, stations, capsys, "a reader that stays", 1, held_s=round(held, 1), log_mb=round(grown / 1e6, 1))


# A power cut: what the disk has of the log and of the file ends anywhere.


def test_a_power_cut_keeps_every_scan_whose_commit_reached_the_disk_and_never_half_of_one(tmp_path, capsys):
    """The log is cut at 120 random bytes and at the edges of commits. What opens is a prefix of what was committed."""
    bridge = TarnBridge(tmp_path)
    sets = [bridge.new_set(f"Set {n}") for n in range(10)]
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    log = bridge.path.with_name(bridge.path.name + "-wal")
    committed = [(log.stat().st_size, len(bridge.facts()))]
    for _ in range(4):
        for one in sets:
            bridge.scan("wash-1", one)
            committed.append((log.stat().st_size, len(bridge.facts())))
            bridge.scan("wash-1", "UNDO")
            committed.append((log.stat().st_size, len(bridge.facts())))
    file, whole = bridge.path.read_bytes(), log.read_bytes()
    facts = bridge.facts()
    bridge.close()
    rng = random.Random(4)
    cuts = sorted(
        {
            *(size for size, _ in committed),
            *(size - 1 for size, _ in committed),
            *(rng.randrange(32, len(whole)) for _ in range(120)),
        }
    )
    lost = 0
    for number, cut in enumerate(cuts):
        folder = tmp_path / f"cut-{number}"
        folder.mkdir()
        path = folder / "practice.db"
        path.write_bytes(file)
        (folder / "practice.db-wal").write_bytes(whole[:cut])
        promised = max((count for size, count in committed if size <= cut), default=0)
        ledger = SqliteLedger(path, chosen())
        with ledger.reading() as reader:
            found, kept = verify(reader), list(reader.facts())
        ledger.close()
        assert found.fault is None, (cut, found.fault)
        assert kept == facts[: len(kept)]
        lost += len(kept) < promised
        shutil.rmtree(folder)
    with capsys.disabled():
        print(
            f'\n{{"fault": "power cut (log)", "rounds": {len(cuts)}, "acknowledged": {len(committed)}, "lost": {lost}, "duplicated": 0}}'
        )
    assert lost == 0


def test_a_file_cut_off_anywhere_is_refused_or_named_and_never_passed_as_whole(tmp_path, capsys):
    bridge = TarnBridge(tmp_path)
    bridge.ready()
    count = len(bridge.facts())
    bridge.close()
    whole, rng = bridge.path.read_bytes(), random.Random(8)
    cuts = [0, 1, 99, 100, 4095, 4096, *(rng.randrange(len(whole)) for _ in range(60))]
    passed = 0
    for cut in cuts:
        bridge.path.write_bytes(whole[:cut])
        try:
            ledger = SqliteLedger(bridge.path, chosen())
            with ledger.reading() as reader:
                found = verify(reader)
            ledger.close()
            passed += found.fault is None and found.facts != count  # what was cut off may have been a free page
        except LedgerError as error:
            assert "\n" not in str(error)
    with capsys.disabled():
        print(f'\n{{"fault": "file cut off", "rounds": {len(cuts)}, "wrongly passed as whole": {passed}}}')
    assert passed == 0


def test_a_second_writer_that_keeps_the_file_locked_makes_the_service_say_so(tmp_path, monkeypatch):
    import sqlite3

    from service.ledger import sqlite
    from service.ledger.store import LedgerUnavailable

    bridge = TarnBridge(tmp_path)
    other = sqlite3.connect(bridge.path, isolation_level=None, check_same_thread=False)
    true_connect = sqlite.connect

    def impatient(path, *, read_only):
        connection = true_connect(path, read_only=read_only)
        connection.execute("PRAGMA busy_timeout = 200")
        return connection

    monkeypatch.setattr(sqlite, "connect", impatient)
    bridge.desk.ledger._writer.execute("PRAGMA busy_timeout = 200")
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(LedgerUnavailable, match="locked"):
        bridge.new_set()
    other.execute("ROLLBACK")
    assert bridge.new_set()
    other.close()
    bridge.close()
