"""Faults of PostgreSQL under the service: the primary lost, the standby lost, connections cut, locks and deadlocks."""

import re
import threading
import time

import psycopg
import pytest

from service.ledger.postgres import PostgresLedger, create
from service.ledger.verify import verify
from tests.cluster import programs
from tests.entry import Entry
from tests.faults.load import Service, Stations, furnish, reckon
from tests.practice import TECHNICIAN, TarnBridge, chosen, wash_load
from tests.scaling_page import block, sql

pytestmark = pytest.mark.skipif(programs() is None, reason="PostgreSQL's server programs are not installed")


def test_the_primary_killed_under_load_loses_nothing_that_was_acknowledged(server, tmp_path, capsys):
    primary = server("primary")
    url = primary.database()
    name = url.rsplit("/", 1)[1]
    create(url)
    bridge = TarnBridge.over(PostgresLedger(url, chosen()))
    stations = Stations(furnish(bridge, 16), Entry(bridge.desk).device())
    bridge.close()
    assert "pg_basebackup -D DATA -R -X stream -c fast" in block("standby")
    standby = server("standby", copy_of=primary, name="one")
    sql(primary.url("postgres"), "synchronous")
    deadline = time.monotonic() + 20
    while primary.admin("SELECT sync_state FROM pg_stat_replication") != [("sync",)]:
        assert time.monotonic() < deadline
        time.sleep(0.1)
    hosts = f"127.0.0.1:{primary.port},127.0.0.1:{standby.port}"
    both = re.sub(r"@[^/]*/.*", f"@{hosts}/{name}?target_session_attrs=read-write", url)
    service = Service(both)
    stations.start(service.port)
    stations.wait_for(1500)
    primary.kill()
    before = len(stations.answered)
    assert "promote" in block("promote")
    standby.promote()
    sql(standby.url("postgres"), "promoted")
    stations.wait_for(1000)
    stations.stop()
    service.stop()
    ledger = PostgresLedger(standby.url(name), chosen())
    with capsys.disabled():
        line = reckon(ledger, stations, "primary killed -9, standby promoted", 1, before_the_kill=before)
    ledger.close()
    assert line["without an answer at first"] > 0
    (primary.data / "postmaster.pid").unlink(missing_ok=True)


def test_without_its_standby_a_primary_acknowledges_nothing_and_no_timeout_changes_that(server):
    """A commit that waits for a standby is not ended by the statement's time limit: that would acknowledge half."""
    from service.ledger import postgres

    primary = server("alone")
    url = primary.database()
    create(url)
    bridge = TarnBridge.over(PostgresLedger(url, chosen()))
    bridge.desk.ledger._writer.execute("SET statement_timeout = 300")
    sql(primary.url("postgres"), "synchronous")
    time.sleep(0.5)
    scan = bridge.new_id()
    waiting = bridge.desk.scan({"id": scan, "station": "store-1", "code": TECHNICIAN})
    with pytest.raises(TimeoutError):
        waiting.result(2)
    assert postgres.STATEMENT_TIMEOUT_MS == 10_000
    sql(primary.url("postgres"), "promoted")
    assert waiting.result(10)["verdict"] == "go"
    bridge.close()


def test_the_server_restarted_and_connections_cut_under_load_lose_and_double_nothing(server, capsys):
    one = server("restarted")
    url = one.database()
    create(url)
    bridge = TarnBridge.over(PostgresLedger(url, chosen()))
    stations = Stations(furnish(bridge, 8), Entry(bridge.desk).device())
    bridge.close()
    service = Service(url)
    stations.start(service.port)
    for mode in ("cut", "fast", "cut", "immediate", "cut"):
        stations.wait_for(300)
        if mode == "cut":
            one.admin("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'foldmark'")
        else:
            one.stop(mode)
            one.start()
    stations.wait_for(300)
    stations.stop()
    service.stop()
    ledger = PostgresLedger(url, chosen())
    with capsys.disabled():
        line = reckon(ledger, stations, "PostgreSQL restarted, connections cut", 5)
    ledger.close()
    assert line["without an answer at first"] > 0


@pytest.mark.parametrize("fault", ["deadlock_detected", "serialization_failure"])
def test_a_batch_that_the_server_took_back_is_sent_again_at_once(database, fault, capsys):
    """The server raises the error itself, inside our transaction, the first time a set is registered."""
    create(database)
    bridge = TarnBridge.over(PostgresLedger(database, chosen()))
    with psycopg.connect(database, autocommit=True) as connection:
        connection.execute("CREATE SEQUENCE tries")
        connection.execute(f"""CREATE FUNCTION fail_once() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
            IF nextval('tries') <= 2 THEN RAISE EXCEPTION USING ERRCODE = '{fault}'; END IF; RETURN NEW; END $$""")
        connection.execute('CREATE TRIGGER fail_once BEFORE INSERT ON "set" FOR EACH ROW EXECUTE FUNCTION fail_once()')
    assert bridge.new_set()
    assert len(bridge.facts("set_registered")) == 1
    with psycopg.connect(database) as connection:
        assert connection.execute("SELECT last_value FROM tries").fetchone() == (3,)
    bridge.close()
    with capsys.disabled():
        print(f'\n{{"fault": "{fault}", "rounds": 2, "acknowledged": 1, "lost": 0, "duplicated": 0}}')


def test_a_real_deadlock_is_resolved_and_the_scan_is_written_once(database):
    create(database)
    bridge = TarnBridge.over(PostgresLedger(database, chosen()))
    one = bridge.new_set()
    with psycopg.connect(database, autocommit=True) as other:
        other.execute("SET deadlock_timeout = '50ms'")
        other.execute("BEGIN")
        other.execute("LOCK TABLE hand IN ACCESS EXCLUSIVE MODE")
        done = threading.Thread(target=lambda: bridge.scans("wash-1", TECHNICIAN, wash_load(1), one))
        done.start()
        time.sleep(0.5)
        try:
            other.execute("SELECT pg_advisory_xact_lock(%s, hashtext('K7'))", [0x464D4B31])
        except psycopg.errors.DeadlockDetected:
            other.execute("ROLLBACK")
        else:
            other.execute("COMMIT")
        done.join(20)
        assert not done.is_alive()
    assert [fact.kind for fact in bridge.facts() if fact.set == one].count("received") == 1
    with bridge.desk.ledger.reading() as reader:
        assert verify(reader).fault is None
    bridge.close()


def test_a_lock_held_too_long_is_said_and_the_next_batch_succeeds(database, monkeypatch):
    from service.ledger.store import LedgerUnavailable

    create(database)
    bridge = TarnBridge.over(PostgresLedger(database, chosen()))
    bridge.desk.ledger._writer.execute("SET statement_timeout = 300")
    with psycopg.connect(database) as other:
        other.execute("SELECT pg_advisory_xact_lock(%s, hashtext('K7'))", [0x464D4B31])
        with pytest.raises(LedgerUnavailable, match="statement timeout"):
            bridge.new_set()
    assert bridge.new_set()
    bridge.close()
