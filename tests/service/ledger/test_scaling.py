"""docs/scaling.md, run: every SQL and shell block and every command of it, on servers of the tests' own."""

import json
import re
import shlex
import subprocess
import sys
import time
from pathlib import Path

import psycopg
import pytest

from service.ledger.postgres import PostgresLedger, create
from service.ledger.verify import verify
from tests.cluster import PASSWORD, USER, Cluster, programs
from tests.faults.load import Service, Stations, furnish, reckon
from tests.practice import TarnBridge, chosen

ROOT = Path(__file__).resolve().parents[3]
PAGE = (ROOT / "docs" / "scaling.md").read_text("utf-8")
pytestmark = pytest.mark.skipif(programs() is None, reason="PostgreSQL's server programs are not installed")


def block(name):
    found = re.search(rf"^```\w+ {name}\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    assert found, name
    return found[1]


def sql(url, name, *swaps):
    text = block(name)
    for old, new in swaps:
        assert old in text, old
        text = text.replace(old, new)
    with psycopg.connect(url, autocommit=True) as connection:
        for statement in filter(str.strip, text.split(";\n")):
            connection.execute(statement)


def foldmark(url, *words, key=None):
    more = ["--settings", str(key)] if key else []
    done = subprocess.run(
        [sys.executable, "-m", "service.cli", "--ledger", url, *more, *words],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, (words, done.stderr)
    return done.stdout


def as_role(url, role, password):
    return re.sub(r"//[^@]*@", f"//{role}:{password.replace(' ', '%20')}@", url)


@pytest.fixture
def server(tmp_path):
    made = []

    def make(folder, **more):
        made.append(Cluster(tmp_path / folder, **more))
        return made[-1]

    yield make
    for one in reversed(made):
        one.stop("immediate")


def test_the_settings_of_the_primary_are_those_the_tests_run_with(cluster):
    for line in block("primary").splitlines():
        name, value = line.split(" = ")
        assert cluster.admin(f"SHOW {name}") == [(value,)]


def test_a_database_a_role_that_cannot_change_facts_and_a_service_on_it(cluster, tmp_path):
    sql(cluster.url("postgres"), "database")
    owner = as_role(cluster.url("ledger"), "foldmark_owner", "one of your own")
    bridge = TarnBridge(tmp_path)
    pack, load = bridge.ready()
    bridge.close()
    assert "facts, verified" in foldmark(owner, "copy", str(bridge.path), owner)
    assert "unbroken chain" in foldmark(owner, "verify")
    sql(cluster.url("ledger"), "role")
    service = as_role(cluster.url("ledger"), "foldmark_service", "another of your own")
    again = TarnBridge.over(PostgresLedger(service, chosen()), fresh=False)
    assert again.scan("store-1", "B-K7-003-J")["verdict"] == "go"
    assert again.new_set("Eye set")
    again.close()
    with psycopg.connect(service, autocommit=True) as connection:
        for wrong in (
            "UPDATE fact SET at = at",
            "DELETE FROM fact_k7",
            "TRUNCATE fact",
            "DROP TABLE fact",
            "ALTER TABLE fact DISABLE TRIGGER ALL",
        ):
            with pytest.raises(psycopg.Error):
                connection.execute(wrong)
    assert json.loads(foldmark(service, "recall", load, "--json"))["packs"][0]["pack"] == pack
    settings = tmp_path / "s.toml"
    settings.write_text(f'[service]\nkey = "{tmp_path / "m2.key"}"\n')
    assert "site M2" in foldmark(owner, "init", "--site", "M2", "--name", "Moss Lane", key=settings)
    told = json.loads(foldmark(owner, "verify", "--json"))
    assert sorted(told["heads"]) == ["K7", "M2"]
    for command in re.findall(r"^\$ foldmark --ledger \S+ (.*)$", PAGE, re.MULTILINE):
        assert shlex.split(command)[0] in {"init", "verify", "recall"}


def test_the_primary_killed_under_load_loses_nothing_that_was_acknowledged(server, tmp_path, capsys):
    primary = server("primary")
    url = primary.database()
    name = url.rsplit("/", 1)[1]
    create(url)
    bridge = TarnBridge.over(PostgresLedger(url, chosen()))
    stations = Stations(furnish(bridge, 16))
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
    waiting = bridge.desk.scan({"id": scan, "station": "store-1", "code": "B-K7-003-J"})
    with pytest.raises(TimeoutError):
        waiting.result(2)
    assert postgres.STATEMENT_TIMEOUT_MS == 10_000
    sql(primary.url("postgres"), "promoted")
    assert waiting.result(10)["verdict"] == "go"
    bridge.close()


def test_a_head_office_answers_a_recall_for_both_practices(server, cluster, tmp_path):
    loads, exports = {}, {}
    practices = {}
    for site in ("K7", "M2"):
        url = cluster.database()
        create(url)
        ledger = PostgresLedger(url, chosen(site=site))
        ledger.close()
        practices[site] = url
    for site, url in practices.items():
        loads[site] = _one_turn(url, site)
        exports[site] = foldmark(url, "--site", site, "export")
        sql(url, "publication")
    head = server("head").database()
    follow = re.search(r"^\$ foldmark --ledger \S+ (init --follow.*)$", PAGE, re.MULTILINE)[1]
    assert "K7, M2" in foldmark(head, *shlex.split(follow))
    _subscribe(head, practices, cluster)
    deadline = time.monotonic() + 30
    wanted = sum(text.count("\n") for text in exports.values())
    with psycopg.connect(head, autocommit=True) as connection:
        behind = (
            "SELECT (SELECT count(*) FROM fact), (SELECT count(*) FROM pg_subscription_rel WHERE srsubstate <> 'r')"
        )
        while connection.execute(behind).fetchone() != (wanted, 0):
            assert time.monotonic() < deadline, "the head office fell behind"
            time.sleep(0.1)
    assert {site: foldmark(head, "--site", site, "export") for site in practices} == exports
    for site, url in practices.items():
        for reach in ("load", "since", "onward"):
            words = ("recall", loads[site], "--reach", reach, "--json")
            assert foldmark(head, *words) == foldmark(url, *words)
    told = json.loads(foldmark(head, "verify", "--json"))
    assert (told["ok"], sorted(told["heads"])) == (True, ["K7", "M2"])
    assert foldmark(head, "--site", "K7", "names") == ""


def _subscribe(head, practices, cluster):
    for site, url in practices.items():
        text = next(line for line in block("subscription").split(";\n") if f"from_{site.lower()}" in line)
        password = PASSWORD.replace("\\", "\\\\").replace("'", "\\'")
        told = f"host=127.0.0.1 port={cluster.port} dbname={url.rsplit('/', 1)[1]} user={USER} password='{password}'".replace(
            "'", "''"
        )
        with psycopg.connect(head, autocommit=True) as connection:
            connection.execute(re.sub(r"'host=.*?'", lambda _m, told=told: f"'{told}'", text))


def _one_turn(url, site):
    """A site with a set, a wash load, a steam load that was released, written as the office would; the steam load."""
    from label_templates import codes
    from service.custody.facts import Fact

    load, wash, one = (
        codes.load_code(f"L-{site}-1", 1).text,
        codes.load_code(f"W-{site}-1", 1).text,
        codes.set_code(site, 1).text,
    )
    pack = codes.pack_code(one, 1).text
    at = "2026-03-04T08:00:00.000Z"
    rows = [
        ("site_opened", None, None, None, {"name": site}),
        ("set_registered", one, None, None, {"number": 1, "name": "Eye set", "kind": "set", "implant": False, "sheet": [], "mark": None, "wrap": "double", "bears_c": None}),
        ("received", one, pack, None, {"turn": 1, "enter": "soiled"}),
        ("wash_loaded", one, pack, wash, {}),
        ("wash_ended", None, None, wash, {"result": "pass", "steps": []}),
        ("packed", one, pack, None, {"lines": [], "short": [], "wrap": "double", "strip_lot": "1", "mass_g": None, "implant": False}),
        ("loaded", one, pack, load, {}),
        ("cycle_started", None, None, load, {"programme": "134/3", "load_kind": "goods"}),
    ]  # fmt: skip
    ledger = PostgresLedger(url, chosen(site=site))
    with ledger.batch(1_772_611_200_000) as batch, batch.part() as part:
        part.note([Fact(kind, at, site, "office-1", None, s, p, x, None, data) for kind, s, p, x, data in rows])
        batch.keep_name("PAT-1", "patient", "stays at home", None)
    with ledger.reading() as reader:
        assert verify(reader).fault is None
    ledger.close()
    return load


# What can happen to a connection


def test_the_server_restarted_and_connections_cut_under_load_lose_and_double_nothing(server, capsys):
    one = server("restarted")
    url = one.database()
    create(url)
    bridge = TarnBridge.over(PostgresLedger(url, chosen()))
    stations = Stations(furnish(bridge, 8))
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
    import threading

    create(database)
    bridge = TarnBridge.over(PostgresLedger(database, chosen()))
    one = bridge.new_set()
    with psycopg.connect(database, autocommit=True) as other:
        other.execute("SET deadlock_timeout = '50ms'")
        other.execute("BEGIN")
        other.execute("LOCK TABLE hand IN ACCESS EXCLUSIVE MODE")
        done = threading.Thread(
            target=lambda: bridge.scans("wash-1", "B-K7-003-J", "W-K7-1-0001-" + _check("WK710001"), one)
        )
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


def _check(body):
    from stdnum.iso7064 import mod_37_2

    return mod_37_2.calc_check_digit(body)


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
