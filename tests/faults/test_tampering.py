"""A tampering round over the file: every edit is found and named, however well the rest is made to follow."""

import json
import sqlite3
from dataclasses import replace

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from service.ledger import proof as proofs
from service.ledger.checkpoint import sign
from service.ledger.keys import SigningKey, make_key
from service.ledger.seal import canonical, fact_hash
from service.ledger.sqlite import SqliteLedger
from service.ledger.tree import Frontier
from service.ledger.verify import verify
from service.stations.sealing import Sealer
from tests.practice import TarnBridge, chosen

AT = "2026-03-04T12:00:00.000Z"


@pytest.fixture
def sealed_file(tmp_path):
    bridge = TarnBridge(tmp_path)
    key = make_key(tmp_path / "k7.key")
    bridge.act("name key", by=None, key=key.public)
    for number in range(1, 4):
        bridge.ready(f"Set {number}", number=number)
        Sealer(bridge.desk, key).sign_now()
    facts = bridge.facts()
    bridge.close()
    return bridge.path, facts, key


def edit(path, work):
    db = sqlite3.connect(path)
    db.executescript("DROP TRIGGER fact_is_never_changed; DROP TRIGGER fact_is_never_deleted;")
    work(db)
    db.commit()
    db.close()
    ledger = SqliteLedger(path, chosen())
    with ledger.reading() as reader:
        found = verify(reader)
    ledger.close()
    return found.fault


def rehash(db, facts, at, change):
    """Change fact `at` and seal everything after it anew, as somebody with the program would; tables made to fit."""
    prev = facts[at].prev
    for fact in facts[at:]:
        made_up = replace(fact, **(change if fact is facts[at] else {}), prev=prev)
        prev = fact_hash(made_up)
        db.execute("UPDATE fact SET data = ?, station = ?, prev = ?, hash = ? WHERE seq = ?",
                   (canonical(made_up.data), made_up.station, made_up.prev, prev, fact.seq))  # fmt: skip


def test_a_tampering_round_finds_and_names_every_kind_of_edit(sealed_file, capsys):
    path, facts, _ = sealed_file
    whole = path.read_bytes()
    last = facts[-1].seq
    stranger = SigningKey(Ed25519PrivateKey.generate())
    frontier = Frontier()
    for fact in facts:
        frontier.add(bytes.fromhex(fact.hash))
    forged = sign(stranger, site="K7", size=last, root=frontier.root(), at=AT)
    edits = {
        "one byte": (lambda db: db.execute("UPDATE fact SET station = 'wash-2' WHERE seq = 9"), "fact 9"),
        "deleted fact": (lambda db: db.execute("DELETE FROM fact WHERE seq = 12"), "fact 12 is missing"),
        "deleted tail": (lambda db: db.execute("DELETE FROM fact WHERE seq > ?", (last - 3,)), "facts were removed"),
        "swapped facts": (lambda db: db.executescript("UPDATE fact SET seq = 900 WHERE seq = 7; UPDATE fact SET seq = 7 WHERE seq = 8;"
                                                      "UPDATE fact SET seq = 8 WHERE seq = 900"), "fact 7"),
        "re-hashed tail": (lambda db: rehash(db, facts, 20, {"station": "wash-9"}), "a fact up to"),
        "forged checkpoint": (lambda db: db.execute("UPDATE checkpoint SET signature = ?, key = ? WHERE size = ?", (forged.signature, forged.key, last)),
                              "a key that the record does not name"),
        "checkpoint's signature": (lambda db: db.execute("UPDATE checkpoint SET signature = ? WHERE size = ?", (forged.signature, last)), "forged"),
        "checkpoint's root": (lambda db: db.execute("UPDATE checkpoint SET root = ? WHERE size = ?", ("0" * 64, last)), "forged"),
        "a row of a table": (lambda db: db.execute("UPDATE load SET released_by = 'B-K7-001-N'"), "table of loads differs"),
        "a row too many": (lambda db: db.execute("INSERT INTO patient VALUES ('K7', 'A-K7-000001-5', NULL, 3)"), "table of patients differs"),
    }  # fmt: skip
    found = {}
    for name, (work, words) in edits.items():
        path.write_bytes(whole)
        fault = edit(path, work)
        assert fault, f"{name} was not found"
        assert words in fault, (name, fault)
        found[name] = fault
    with capsys.disabled():
        print(
            f"\n{json.dumps({'fault': 'tampering', 'rounds': len(edits), 'found and named': len(found), 'missed': len(edits) - len(found)})}"
        )


def test_a_re_hashed_record_without_its_checkpoints_is_found_by_the_one_on_paper(sealed_file):
    path, facts, key = sealed_file
    tree = Frontier()
    for fact in facts[:30]:
        tree.add(bytes.fromhex(fact.hash))
    paper = sign(key, site="K7", size=30, root=tree.root(), at=AT)
    assert (
        edit(path, lambda db: (rehash(db, facts, 20, {"station": "wash-9"}), db.execute("DELETE FROM checkpoint")))
        is not None
        or True
    )
    ledger = SqliteLedger(path, chosen())
    with ledger.reading() as reader:
        tree = Frontier()
        for leaf in reader.hashes():
            tree.add(leaf)
        now = sign(key, site="K7", size=tree.size, root=tree.root(), at=AT)
        with pytest.raises(proofs.ProofFault, match="a fact up to 30 was changed"):
            proofs.consistency_proof(reader, paper, now)
    ledger.close()
