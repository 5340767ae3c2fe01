"""Moving house by the command line: copied, backed up, restored, brought forward, forgotten; and what is refused."""

import json
import re
import shutil
import sqlite3
from pathlib import Path

import pytest

from label_templates.codes import badge_code
from service.ledger import migrations, sqlite
from service.ledger.moving import CHUNK
from service.ledger.sqlite import SqliteLedger
from service.ledger.verify import verify
from tests.command import foldmark
from tests.practice import NURSE, TECHNICIAN, TarnBridge, chosen, patient, steam_load, wash_load

ROOT = Path(__file__).resolve().parents[3]
SQL = ROOT / "service" / "ledger" / "sql" / "sqlite"


def run(*words, ok=0):
    done = foldmark(*words, cwd=ROOT)
    assert done.returncode == ok, (words, done.stdout, done.stderr)
    return done


@pytest.fixture(scope="module")
def worked(tmp_path_factory):
    """A ledger with a turn, an UNDO, a refusal, an opening and names: its path, a pack and a load."""
    bridge = TarnBridge(tmp_path_factory.mktemp("worked"))
    pack, load = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(827), pack, "TURNED")
    one = bridge.record("pack", pack).set
    bridge.scans("wash-1", TECHNICIAN, wash_load(2), one, "YES", "UNDO", pack)
    bridge.desk.beside(
        bridge.new_id(), lambda batch: batch.keep_name(patient(827), "patient", "Milo the Unmistakable", "cat"), {}
    ).result(5)
    bridge.close()
    return bridge.path, pack, load


@pytest.fixture
def old(worked):
    return worked[0]


def exported(where):
    return run("--ledger", where, "export").stdout


def test_a_ledger_copied_to_postgresql_and_back_exports_the_same_bytes_and_answers_alike(worked, database, tmp_path):
    path, pack, load = worked
    told = json.loads(run("copy", path, database, "--json").stdout)
    back = tmp_path / "back.db"
    assert json.loads(run("copy", database, back, "--json").stdout) == told
    assert exported(path) == exported(database) == exported(back)
    for words in (("custody", pack, "--json"), ("recall", load, "--json"), ("recall", load, "--reach", "since", "--json"), ("board",),
                  ("names", "--json"), ("verify", "--json")):  # fmt: skip
        answers = {run("--ledger", where, *words).stdout for where in (path, database, back)}
        assert len(answers) == 1, words


def test_every_command_takes_a_postgresql_ledger(database, tmp_path):
    at = ("--ledger", database)
    key = tmp_path / "k7.key"
    settings = tmp_path / "s.toml"
    settings.write_text(f'[service]\nkey = "{key}"\n')
    common = (*at, "--settings", settings)
    assert "a new ledger for site K7" in run(*common, "init", "--site", "K7", "--name", "Tarn").stdout
    assert "is in" in run(*common, "init", "--site", "K7", "--name", "Tarn", ok=2).stderr
    assert run(*common, "checkpoint").stdout.startswith("CHECKPOINT K7 2 ")
    assert "Signed checkpoints: 1, all hold; covered up to fact: K7 2." in run(*common, "verify").stdout
    assert "can be written" in run(*common, "doctor").stdout
    assert run(*common, "key").stdout.count("since") == 1
    assert run(*common, "migrate").stdout.endswith("already, and verifies.\n")
    assert "2 facts" in run(*common, "backup", tmp_path / "b.db").stdout
    assert json.loads(run(*common, "board", "--json").stdout)


def test_a_copy_that_was_stopped_cannot_be_used_and_goes_on_where_it_stopped(old, tmp_path, monkeypatch):
    from service.ledger import moving

    target = tmp_path / "half.db"
    monkeypatch.setattr(moving, "CHUNK", 7)

    def stop(done, _total):
        if done >= 14:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        moving.copy(str(old), str(target), chosen(), stop)
    assert "is half a copy: run  foldmark copy" in run("--ledger", target, "verify", ok=2).stderr
    counts = []
    found = moving.copy(str(old), str(target), chosen(), lambda done, total: counts.append(done))
    assert counts[0] == 21
    assert found.fault is None
    assert exported(target) == exported(old)
    assert CHUNK == 1000


def test_a_copy_made_before_takes_what_is_new_and_forgets_what_was_forgotten(old, tmp_path):
    path, copied = tmp_path / "a.db", tmp_path / "b.db"
    shutil.copy(old, path)
    run("copy", path, copied)
    run("--ledger", path, "forget", patient(827), "--yes")
    ledger = SqliteLedger(path, chosen())
    bridge = TarnBridge.over(ledger, fresh=False)
    bridge.new_set("Eye set")
    bridge.close()
    run("copy", path, copied)
    assert exported(copied) == exported(path)
    assert run("--ledger", copied, "names").stdout == ""


def test_what_cannot_be_copied_is_refused_in_one_line(old, tmp_path, database):
    other = TarnBridge(tmp_path)
    other.close()
    assert "cannot be copied onto itself" in run("copy", old, old, ok=2).stderr
    assert "holds other facts of site K7" in run("copy", old, other.path, ok=2).stderr
    assert "there is no ledger" in run("copy", tmp_path / "no.db", tmp_path / "x.db", ok=2).stderr
    assert "mysql:// cannot be opened" in run("copy", "mysql://x/y", tmp_path / "x.db", ok=2).stderr
    wrong = database.replace("foldmark:", "foldmark:not").replace("practice_", "no_such_")
    for url, words in (
        (wrong, "password"),
        (database.replace("practice_", "no_such_"), "does not exist"),
        ("postgresql://127.0.0.1:1/x", "cannot be reached"),
    ):
        done = run("--ledger", url, "verify", ok=2)
        assert words in done.stderr
        assert "a password" not in done.stderr
        assert done.stderr.count("\n") == 1
    assert "there is no ledger at postgresql://" in run("--ledger", database, "verify", ok=2).stderr
    assert not (tmp_path / "x.db").exists()


def test_a_backup_is_made_in_use_verified_and_restored(old, tmp_path):
    bridge = TarnBridge(tmp_path)
    bridge.new_set()
    saved = tmp_path / "saved.db"
    assert "verified" in run("--ledger", bridge.path, "backup", saved).stdout
    bridge.new_set()
    assert "is there already" in run("--ledger", bridge.path, "backup", saved, ok=2).stderr
    assert "the ledger itself" in run("--ledger", bridge.path, "backup", bridge.path, ok=2).stderr
    assert "cannot be written" in run("--ledger", bridge.path, "backup", tmp_path / "no" / "b.db", ok=2).stderr
    assert "is there already" in run("--ledger", bridge.path, "restore", saved, ok=2).stderr
    bridge.close()
    again = tmp_path / "again.db"
    run("--ledger", again, "restore", saved)
    assert exported(bridge.path).startswith(exported(again))
    whole = saved.read_bytes()
    place = whole.index(b"set_registered")
    saved.write_bytes(whole[:place] + b"x" + whole[place + 1 :])
    assert "does not verify" in run("--ledger", tmp_path / "third.db", "restore", saved, ok=2).stderr
    assert not (tmp_path / "third.db").exists()


@pytest.mark.parametrize(("bend", "words"), [
    (lambda lines: lines.__setitem__(6, lines[6].replace("K7", "K8", 1)), "line 7"),
    (lambda lines: lines.pop(4), "line 5: fact 5 is missing"),
    (lambda lines: lines.__setitem__(9, "nonsense\n"), "line 10 is not a fact"),
    (lambda lines: lines.__setitem__(9, "[1]\n"), "line 10 is not a fact"),
    (lambda lines: lines.__setitem__(-1, lines[-1][:-20]), "is not a fact"),
    (lambda lines: lines.clear(), "holds no facts"),
])  # fmt: skip
def test_an_import_with_one_bad_line_names_the_line_and_imports_nothing(old, tmp_path, bend, words):
    lines = exported(old).splitlines(keepends=True)
    bend(lines)
    file = tmp_path / "facts.jsonl"
    file.write_text("".join(lines), "utf-8")
    done = run("copy", file, tmp_path / "new.db", ok=2)
    assert words in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["facts.jsonl"]


def test_exported_facts_are_imported_whole(old, tmp_path, database):
    file = tmp_path / "facts.jsonl"
    run("--ledger", old, "export", "-o", file)
    for target in (tmp_path / "new.db", database):
        run("copy", file, target)
        assert exported(target) == file.read_text("utf-8")


# Forward to this version

LATER_INDEXES = set(re.findall(r"CREATE INDEX (\w+)", (SQL / "0004.sql").read_text())) - {"case_patient"}


@pytest.fixture
def version_1(worked, tmp_path):
    """The same ledger as version 1 kept it, made by putting its rows into that version's schema."""
    path = tmp_path / "v1.db"
    db = sqlite3.connect(path)
    db.executescript((SQL / "0001.sql").read_text())
    db.execute("ATTACH ? AS new", (str(worked[0]),))
    for (table,) in db.execute("SELECT name FROM main.sqlite_master WHERE type = 'table'").fetchall():
        columns = ", ".join(f'"{row[1]}"' for row in db.execute(f'PRAGMA main.table_info("{table}")'))
        db.execute(f'INSERT INTO main."{table}" ({columns}) SELECT {columns} FROM new."{table}"')
    db.execute(f"PRAGMA application_id = {sqlite.APPLICATION}")
    db.execute("PRAGMA user_version = 1")
    db.commit()
    db.close()
    return path


def test_the_migrations_arrive_at_exactly_the_schema_file():
    shapes = []
    for scripts in (
        [(SQL / "0001.sql").read_text(), *(s for _, run in migrations.steps("sqlite", 1) for s in run)],
        [migrations.script("sqlite")],
    ):
        db = sqlite3.connect(":memory:")
        for script in scripts:
            db.executescript(script)
        shapes.append(
            db.execute(
                "SELECT type, name, tbl_name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY 1, 2"
            ).fetchall()
        )
    assert shapes[0] == shapes[1]
    assert migrations.steps("sqlite", 1)[-1][0] == migrations.VERSION


def test_an_old_ledger_is_refused_until_it_is_brought_forward(version_1, old):
    assert "made by an older Foldmark (ledger version 1" in run("--ledger", version_1, "verify", ok=2).stderr
    assert f"from version 1 to {migrations.VERSION}" in run("--ledger", version_1, "migrate").stdout
    assert exported(version_1) == exported(old)
    assert run("--ledger", version_1, "names").stdout == run("--ledger", old, "names").stdout


def test_the_loads_and_machines_of_an_old_ledger_have_no_measures_and_no_services_yet(version_1):
    run("--ledger", version_1, "migrate")
    db = sqlite3.connect(version_1)
    measures = set(db.execute("SELECT plateau_c_hundredths, heating_s, drying_s FROM load"))
    assert measures == {(None, None, None)}
    assert set(db.execute("SELECT services, counter FROM machine")) == {("[]", None)}
    db.close()


def test_an_old_ledgers_series_begin_after_what_it_knows(version_1):
    run("--ledger", version_1, "migrate")
    ledger = SqliteLedger(version_1, chosen())
    bridge = TarnBridge.over(ledger, fresh=False)
    told = [("patients", None), ("badges", None), ("loads", "L-K7-1"), ("loads", "W-K7-1")]
    issued = [bridge.act("issue codes", kind=kind, machine=machine, count=1)["subject"] for kind, machine in told]
    assert issued == [patient(828), badge_code("K7", 6).text, steam_load(2), wash_load(3)]
    bridge.close()


def test_a_migration_interrupted_at_any_statement_leaves_the_old_ledger_whole(version_1, monkeypatch):
    before = version_1.read_bytes()
    whole = [(to, statement) for to, run in migrations.steps("sqlite", 1) for statement in run]
    for stop in range(len(whole) + 1):

        def cut(_store, _version, stop=stop):
            return [*((to, [statement]) for to, statement in whole[:stop]), (9, ["SELECT * FROM interrupted_here"])]

        monkeypatch.setattr(sqlite, "steps", cut)
        with pytest.raises(Exception, match="it is as it was"):
            sqlite.migrate(version_1, chosen())
        assert version_1.read_bytes() == before
    monkeypatch.undo()
    was, found = sqlite.migrate(version_1, chosen())
    assert (was, found.fault) == (1, None)


def test_a_database_of_another_version_is_refused_and_a_migration_there_is_whole_or_nothing(old, database, monkeypatch):
    import psycopg

    from service.ledger import postgres

    run("copy", old, database)
    with psycopg.connect(database) as connection:
        connection.execute("UPDATE about SET value = '2' WHERE key = 'version'")
        connection.execute("DROP TABLE access, photo")
        connection.execute(f"DROP INDEX {', '.join(LATER_INDEXES)}")
        connection.execute("ALTER TABLE load DROP COLUMN plateau_c_hundredths, DROP heating_s, DROP drying_s")
        connection.execute("DROP INDEX fact_machine, cycle_log_sha256")
        connection.execute("DROP TABLE series, label")
        connection.execute("DROP INDEX fact_shelf")
        connection.execute("ALTER TABLE machine DROP services, DROP counter, DROP prove_since")
        connection.execute('ALTER TABLE "set" DROP hollow, DROP immersible')
    assert "made by an older Foldmark (ledger version 2" in run("--ledger", database, "verify", ok=2).stderr
    assert f"from version 2 to {migrations.VERSION}" in run("--ledger", database, "migrate").stdout
    with psycopg.connect(database) as connection:
        assert connection.execute("SELECT count(*) FROM access").fetchone() == (0,)
        connection.execute("UPDATE about SET value = '1' WHERE key = 'version'")
    assert "made by an older Foldmark" in run("--ledger", database, "verify", ok=2).stderr
    steps = ["ALTER TABLE pack ADD COLUMN more BIGINT", "UPDATE pack SET more = 1", "CREATE TABLE further (x BIGINT)"]
    for stop in range(len(steps) + 1):
        monkeypatch.setattr(
            postgres, "steps", lambda _s, _v, stop=stop: [(2, [*steps[:stop], "SELECT * FROM interrupted_here"])]
        )
        with pytest.raises(Exception, match="it is as it was"):
            postgres.migrate(database, chosen())
        with psycopg.connect(database) as connection:
            assert connection.execute(
                "SELECT to_regclass('further'), (SELECT value FROM about WHERE key = 'version')"
            ).fetchone() == (None, "1")
    monkeypatch.setattr(postgres, "steps", lambda _s, _v: [(2, steps)])
    assert postgres.migrate(database, chosen())[0] == 1
    with psycopg.connect(database) as connection:
        connection.execute("UPDATE about SET value = '9' WHERE key = 'version'")
    assert "made by a newer Foldmark" in run("--ledger", database, "verify", ok=2).stderr


def test_a_name_forgotten_leaves_no_byte_in_the_file_and_the_chain_verifies(old, tmp_path):
    path = tmp_path / "l.db"
    shutil.copy(old, path)
    assert b"Unmistakable" in path.read_bytes()
    assert "Milo the Unmistakable, cat" in run("--ledger", path, "names", patient(827)).stdout
    before = exported(path)
    run("--ledger", path, "forget", patient(827), "--yes")
    assert b"Unmistakable" not in b"".join(file.read_bytes() for file in tmp_path.iterdir())
    assert exported(path) == before
    assert "no name stands beside" in run("--ledger", path, "forget", patient(827), "--yes", ok=1).stderr
    ledger = SqliteLedger(path, chosen())
    with ledger.reading() as reader:
        assert verify(reader).fault is None
        assert reader.get("load", steam_load(1)) is not None
    ledger.close()
