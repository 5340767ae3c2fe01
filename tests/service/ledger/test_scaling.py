"""docs/scaling.md, run: every SQL and shell block and every command of it, on servers of the tests' own."""

import json
import re
import shlex
import time
from pathlib import Path

import psycopg
import pytest

from service.ledger.postgres import PostgresLedger, create
from service.ledger.verify import verify
from tests import command as commands
from tests.cluster import PASSWORD, USER, programs
from tests.practice import TarnBridge, chosen
from tests.scaling_page import PAGE, block, sql

ROOT = Path(__file__).resolve().parents[3]
pytestmark = pytest.mark.skipif(programs() is None, reason="PostgreSQL's server programs are not installed")


def foldmark(url, *words, key=None):
    more = ["--settings", str(key)] if key else []
    done = commands.foldmark("--ledger", url, *more, *words, cwd=ROOT)
    assert done.returncode == 0, (words, done.stderr)
    return done.stdout


def as_role(url, role, password):
    return re.sub(r"//[^@]*@", f"//{role}:{password.replace(' ', '%20')}@", url)


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
