"""The ledger: durable, in order, once, append-only, and verified against every kind of edit."""

import json
import os
import re
import resource
import signal
import sqlite3
import subprocess
import sys
import threading
import unicodedata
from dataclasses import fields
from importlib import resources
from pathlib import Path

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from service.custody.facts import Fact
from service.custody.records import KINDS
from service.ledger import migrations, tables
from service.ledger.ids import is_uuid, uuid7
from service.ledger.seal import FIRST_PREV, canonical, fact_hash
from service.ledger.sqlite import SqliteLedger, SqliteReader, connect, create
from service.ledger.store import LedgerError, LedgerUnavailable
from service.ledger.verify import verify
from tests.practice import SITE, TECHNICIAN, TarnBridge, chosen, wash_load
from tests.published import outside


@pytest.fixture
def written(tmp_path):
    """A closed ledger with a pack washed, an undo and a refusal in it: its path and facts."""
    bridge = TarnBridge(tmp_path)
    pack, _ = bridge.ready()
    one = bridge.record("pack", pack).set
    bridge.scans("wash-1", TECHNICIAN, wash_load(2), one, "YES", "UNDO", pack)
    facts = bridge.facts()
    bridge.close()
    return bridge.path, facts


def verdict(path):
    ledger = SqliteLedger(path, chosen())
    try:
        with ledger.reading() as reader:
            return verify(reader)
    finally:
        ledger.close()


def edit(path, *statements):
    """Change the file by hand, triggers out of the way, and put it together again."""
    db = sqlite3.connect(path)
    db.executescript("DROP TRIGGER fact_is_never_changed; DROP TRIGGER fact_is_never_deleted;")
    for sql, *values in statements:
        db.execute(sql, values)
    db.commit()
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()


def test_an_outside_program_agrees_with_every_hash_and_code(written):
    _, facts = written
    heads = outside.check_chain([fact.as_dict() for fact in facts])
    assert heads[SITE] == (len(facts), facts[-1].hash)
    assert facts[0].prev == FIRST_PREV == "0" * 64
    assert [fact.seq for fact in facts] == list(range(1, len(facts) + 1))


def test_a_ledger_as_written_verifies_and_leaves_one_file(written):
    path, facts = written
    assert [p.name for p in path.parent.iterdir()] == ["practice.db"]
    found = verdict(path)
    assert (found.fault, found.facts) == (None, len(facts))


@pytest.mark.parametrize("column", [name for name in tables.FACT_COLUMNS if name not in {"site", "seq"}])
def test_one_character_changed_in_any_column_is_named(written, column):
    path, facts = written
    target = next(f for f in facts if f.kind == "unloaded")
    quoted = f'"{column}"'
    change = """replace(data, 'turned', 'torned')""" if column == "data" else f"coalesce(substr({quoted}, 2), 'x')"
    edit(path, (f"UPDATE fact SET {quoted} = {change} WHERE seq = ?", target.seq))
    found = verdict(path)
    assert found.fault and f"fact {target.seq}" in found.fault
    assert found.facts == target.seq - 1


@pytest.mark.parametrize("column", ["site", "seq"])
def test_a_fact_moved_to_another_place_is_named(written, column):
    path, _ = written
    edit(path, (f"UPDATE fact SET {column} = ? WHERE seq = 9", "K8" if column == "site" else 9000))
    assert "9" in verdict(path).fault


def test_one_byte_of_any_fact_changed_in_the_file_is_named(written):
    path, facts = written
    whole = path.read_bytes()
    for fact in facts:
        place = whole.index((fact.prev + fact.hash).encode()) + 64
        changed = bytearray(whole)
        changed[place] = ord("0") if changed[place] != ord("0") else ord("1")
        path.write_bytes(bytes(changed))
        assert f"fact {fact.seq}" in verdict(path).fault
    path.write_bytes(whole)
    assert verdict(path).fault is None


def test_one_byte_changed_in_an_index_is_named_too(written):
    path, facts = written
    whole = path.read_bytes()
    for fact in (facts[3], facts[12], facts[-2]):
        places = [m.start() for m in re.finditer(re.escape(fact.id.encode()), whole)]
        named, faults = 0, []
        for place in places:
            path.write_bytes(whole[:place] + b"f" + whole[place + 1 :])
            fault = verdict(path).fault
            faults.append(fault)
            named += bool(fault and f"fact {fact.seq}" in fault)
        assert named >= 2, (fact.seq, places, faults)


def test_a_byte_that_is_no_text_is_named_and_not_a_crash(written):
    path, facts = written
    whole = path.read_bytes()
    place = whole.index(b'{"clean":true')
    path.write_bytes(whole[:place] + b"\xff\xfe" + whole[place + 2 :])
    inspected = next(f for f in facts if f.kind == "inspected")
    assert f"fact {inspected.seq}" in verdict(path).fault


def test_a_deleted_fact_and_two_swapped_ones_are_named(written):
    path, _ = written
    whole = path.read_bytes()
    edit(path, ("DELETE FROM fact WHERE seq = 7",))
    assert "fact 7 is missing" in verdict(path).fault
    path.write_bytes(whole)
    edit(path, ("UPDATE fact SET seq = -1 WHERE seq = 7",), ("UPDATE fact SET seq = 7 WHERE seq = 8",),
         ("UPDATE fact SET seq = 8 WHERE seq = -1",))  # fmt: skip
    assert "fact 7" in verdict(path).fault


def test_a_tail_cut_off_or_hashed_anew_no_longer_fits_the_tables(written):
    path, facts = written
    whole = path.read_bytes()
    edit(path, ("DELETE FROM fact WHERE seq > ?", len(facts) - 8))
    assert "table" in verdict(path).fault
    path.write_bytes(whole)
    target = next(f for f in facts if f.kind == "cycle_judged")
    rewritten, prev = [], target.prev
    for fact in facts[target.seq - 1 :]:
        data = fact.data | {"verdict": "fail"} if fact is target else fact.data
        made = Fact(**(fact.as_dict() | {"data": data, "prev": prev, "hash": ""}))
        prev = fact_hash(made)
        rewritten.append(
            ("UPDATE fact SET data = ?, prev = ?, hash = ? WHERE seq = ?", canonical(data), made.prev, prev, fact.seq)
        )
    edit(path, *rewritten)
    assert "table of loads differs" in verdict(path).fault


def test_a_table_row_changed_by_hand_is_named(written):
    path, _ = written
    edit(path, ("UPDATE pack SET compromised = '[\"wet\"]'",))
    assert "table of packs differs from the facts at P-K7-0001" in verdict(path).fault
    edit_again = sqlite3.connect(path)
    edit_again.execute("DELETE FROM pack")
    edit_again.commit()
    edit_again.close()
    assert "lacks P-K7-0001" in verdict(path).fault


@pytest.mark.parametrize(
    "sql", ["UPDATE fact SET kind = 'x' WHERE seq = 1", "DELETE FROM fact WHERE seq = 1", "DELETE FROM fact"]
)
def test_the_file_itself_refuses_to_change_or_delete_a_fact(written, sql):
    path, _ = written
    db = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="never"):
        db.execute(sql)
    db.close()


def test_readers_cannot_write(written):
    path, _ = written
    ledger = SqliteLedger(path, chosen())
    with pytest.raises(LedgerError), ledger.reading() as reader:
        reader._connection.execute("DELETE FROM hand")
    ledger.close()


def test_a_second_program_that_wrote_is_noticed(tmp_path):
    """Two services on one file: the chain has no fork, whoever writes."""
    first = TarnBridge(tmp_path)
    one = first.new_set()
    second = TarnBridge(tmp_path)
    first.scans("wash-1", TECHNICIAN, wash_load(1), one)
    second.scans("wash-2", TECHNICIAN, wash_load(2))
    assert second.scan("wash-2", one)["rule"] == "in_another_wash"
    first.scan("wash-1", "PASS")
    facts = second.facts()
    outside.check_chain([fact.as_dict() for fact in facts])
    first.close()
    second.close()
    assert verdict(tmp_path / "practice.db").fault is None


def test_the_schema_file_has_exactly_the_records_fields():
    db = sqlite3.connect(":memory:")
    db.executescript(resources.files("service.ledger").joinpath("sql/sqlite/schema.sql").read_text("utf-8"))
    for kind, record in KINDS.items():
        assert [row[1] for row in db.execute(f'PRAGMA table_info("{kind}")')] == [
            "site",
            *(f.name for f in fields(record)),
        ], kind
    assert [row[1] for row in db.execute("PRAGMA table_info(fact)")] == list(tables.FACT_COLUMNS)


VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.text().map(lambda t: unicodedata.normalize("NFC", t)),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text("abc_xyz", max_size=8), inner, max_size=4),
    max_leaves=20,
)


@given(VALUES)
def test_sorted_compact_json_is_rfc_8785_for_what_facts_hold(value):
    assert canonical(value).encode() == rfc8785.dumps(value)


# RFC 8785 section 3.2.3, the string of its sample, and RFC 9562 appendix A.6 (the project's CHECKS section 6).
def test_published_vectors():
    assert canonical('€$\x0f\nA\'B"\\\\"/') == '"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"'
    rand = (0xCC3 << 64 | 0x18C4DC0C0C07398F).to_bytes(10, "big")
    assert uuid7(1645557742000, rand) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
    assert is_uuid("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
    assert not is_uuid("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
    assert not is_uuid("nonsense")
    with pytest.raises(ValueError, match="48 bits"):
        uuid7(1 << 48, rand)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: None, "there is no ledger"),
        (lambda p: p.mkdir(), "cannot be read"),
        (lambda p: p.write_bytes(os.urandom(9000)), "cannot be read as a ledger"),
        (lambda p: p.write_bytes(b""), "not a Foldmark ledger"),
        (lambda p: sqlite3.connect(p).execute("CREATE TABLE t (x)").connection.close(), "not a Foldmark ledger"),
    ],
)
def test_what_is_no_ledger_is_refused_in_one_line(tmp_path, make, words):
    path = tmp_path / "l.db"
    make(path)
    with pytest.raises(LedgerError, match=words) as caught:
        SqliteLedger(path, chosen())
    assert "\n" not in str(caught.value)


def test_the_looks_of_the_board_the_search_and_a_day_go_by_an_index(written):
    path, _ = written
    plans = []

    class Explained(SqliteReader):
        def _all(self, sql, *values):
            plans.extend(row[3] for row in self._connection.execute(f"EXPLAIN QUERY PLAN {sql}", values))
            return super()._all(sql, *values)

    reader = Explained(connect(path, read_only=True), chosen())
    reader.unsettled(), reader.open_cases(), reader.overridden(), reader.codes_of("A")
    reader.at_station("wash-1", "2026", "2027"), reader.cases_of("A")
    reader.latest("L-K7-1", 9), reader.history("machine", "L-K7-1")
    for kind in ("pack", "load", "case"):
        reader.between(kind, "2026", "2027", 9)
    used = ["load_unsettled", "case_open", "pack_overridden", "patient_now", "fact_station", "case_patient", "load_machine", "fact_machine", "pack_opened", "load_began", "case_opened"]  # fmt: skip
    assert [re.search(r"INDEX (\w+)", plan)[1] for plan in plans] == used


def test_a_ledger_of_a_newer_version_is_refused_unread(written):
    path, _ = written
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA user_version = {migrations.VERSION + 1}")
    db.close()
    with pytest.raises(LedgerError, match="made by a newer Foldmark"):
        SqliteLedger(path, chosen())


def test_a_new_ledger_takes_no_place_that_is_taken_and_leaves_nothing_where_it_cannot_be(tmp_path):
    (tmp_path / "l.db").write_text("something of mine")
    with pytest.raises(LedgerError, match="is there already"):
        create(tmp_path / "l.db")
    assert (tmp_path / "l.db").read_text() == "something of mine"
    with pytest.raises(LedgerError, match="cannot be made"):
        create(tmp_path / "nowhere" / "l.db")


def test_a_full_disk_loses_nothing_and_the_ledger_goes_on_after(tmp_path):
    bridge = TarnBridge(tmp_path)
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    before = len(bridge.facts())
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    old = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (8192, hard))
    try:
        with pytest.raises(LedgerUnavailable):
            bridge.scan("wash-1", one)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, old)
    assert len(bridge.facts()) == before
    assert bridge.scan("wash-1", one)["verdict"] == "go"
    bridge.close()
    assert verdict(tmp_path / "practice.db").fault is None


def test_what_was_acknowledged_survives_kill_9(tmp_path):
    program = f"""
import sys; sys.path.insert(0, {str(Path(__file__).parents[3])!r})
from pathlib import Path
from tests.practice import TarnBridge
bridge = TarnBridge(Path({str(tmp_path)!r}))
for number in range(100000):
    answer = bridge.new_set(f"Set {{number}}")
    print(answer, flush=True)
"""
    running = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True)
    for _ in range(60):
        running.stdout.readline()
    running.kill()
    rest = running.stdout.read().split()
    ledger = SqliteLedger(tmp_path / "practice.db", chosen())
    with ledger.reading() as reader:
        kept = {fact.set for fact in reader.facts() if fact.kind == "set_registered"}
        assert verify(reader).fault is None
    ledger.close()
    assert len(kept) >= 60
    assert set(rest[:-1]) <= kept


def test_the_exported_form_validates_against_its_schema(written):
    import jsonschema

    schema = json.loads((Path(__file__).parents[3] / "docs" / "fact.schema.json").read_text("utf-8"))
    check = jsonschema.Draft202012Validator(schema)
    _, facts = written
    for fact in facts:
        check.validate(fact.as_dict())
    wrong = facts[5].as_dict()
    assert not check.is_valid({key: value for key, value in wrong.items() if key != "prev"})
    assert not check.is_valid(wrong | {"extra": 1})
    assert not check.is_valid(wrong | {"kind": "sterilised"})


def test_a_ledger_is_not_closed_under_somebody_who_looks(written):
    path, facts = written
    ledger, looking, go_on, seen = SqliteLedger(path, chosen()), threading.Event(), threading.Event(), []

    def look():
        with ledger.reading() as reader:
            looking.set()
            go_on.wait(10)
            seen.append(reader.head()[0])

    reader = threading.Thread(target=look)
    reader.start()
    assert looking.wait(10)
    closing = threading.Thread(target=ledger.close)
    closing.start()
    closing.join(0.3)
    assert closing.is_alive()
    go_on.set()
    reader.join(10)
    closing.join(10)
    assert not closing.is_alive()
    assert seen == [len(facts)]
