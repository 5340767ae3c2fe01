"""Checkpoints and proofs: what holds is confirmed from outside, and every edit is found and named."""

import copy
import random
import subprocess
import sys
from dataclasses import replace

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from label_templates import codes
from service.ledger import proof as proofs
from service.ledger.checkpoint import CheckpointError, Keys, read_line, sign, vouched_for
from service.ledger.keys import SigningKey, load_key, make_key, signed_by
from service.ledger.memory import MemoryLedger
from service.ledger.store import LedgerError
from service.ledger.verify import verify
from service.stations.sealing import Sealer
from tests.practice import TarnBridge, chosen
from tests.published import outside_proof

AT = "2026-03-04T12:00:00.000Z"


@pytest.fixture
def signed(tmp_path):
    """A practice with its key named, a pack opened for a patient, and another pack: bridge, key, pack."""
    bridge = TarnBridge.over(MemoryLedger(chosen()))
    key = make_key(tmp_path / "k7.key")
    bridge.act("name key", by=None, key=key.public)
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", codes.badge_code("K7", 5).text, codes.patient_code("K7", 827).text, pack, "TURNED")
    bridge.ready("Dental extraction B", number=2)
    yield bridge, key, pack
    bridge.close()


def made(bridge, key, pack):
    with bridge.desk.ledger.reading() as reader:
        return proofs.custody_proof(reader, reader.get("pack", pack), key, AT)


# RFC 8032 section 7.1, tests 1 to 3 (the project's CHECKS section 6), through the library that signs for us.
@pytest.mark.parametrize(("secret", "public", "message", "signature"), [
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "", "e5564300"),
    ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb", "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72", "92a009a9"),
    ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7", "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82", "6291d657"),
])  # fmt: skip
def test_rfc_8032_vectors(secret, public, message, signature):
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert SigningKey(private).public == public
    assert private.sign(bytes.fromhex(message)).hex().startswith(signature)


def test_a_proof_is_confirmed_by_a_program_from_outside_and_shows_the_custody(signed, tmp_path):
    bridge, key, pack = signed
    file = tmp_path / "pack.proof"
    file.write_bytes(proofs.written(made(bridge, key, pack)))
    shown = proofs.check(file.read_bytes(), key.public[:16])
    with bridge.desk.ledger.reading() as reader:
        from service.custody.chain import custody

        assert [fact.as_dict() for fact in shown.facts] == custody(reader.state, reader.get("pack", pack))["facts"]
    assert (shown.about, shown.gaps, shown.facts[-1].kind) == (pack, (), "indicator_read")
    done = subprocess.run([sys.executable, outside_proof.__file__, file], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, f"{pack}: {len(shown.facts)} facts\n")


def refuses_outside(file):
    try:
        outside_proof.check(file)
    except (outside_proof.Wrong, ValueError, KeyError, TypeError, AttributeError):
        return True
    return False


def test_two_hundred_random_changes_of_one_byte_are_refused_by_us_and_from_outside(signed):
    bridge, key, pack = signed
    file, rng = proofs.written(made(bridge, key, pack)), random.Random(6962)
    for _ in range(200):
        place = rng.randrange(len(file))
        bent = bytearray(file)
        bent[place] = rng.choice([byte for byte in range(256) if byte != file[place]])
        assert refuses_outside(bytes(bent)), place
        with pytest.raises(proofs.ProofFault):
            proofs.check(bytes(bent))


def resigned(key, proof):
    """The proof signed anew, as a dishonest holder of the key would."""
    body = {name: value for name, value in proof.items() if name != "signature"}
    return proofs.written(body | {"signature": key.sign(body)})


@pytest.mark.parametrize(("bend", "words"), [
    (lambda p: p["facts"].pop(4), "a fact is missing or foreign"),
    (lambda p: (p["facts"].pop(4), p.update(count=p["count"] - 1)), "one inclusion path for each fact"),
    (lambda p: p["facts"].insert(2, p["facts"].pop(5)), "out of order"),
    (lambda p: p["facts"][3]["data"].update(more=1), "was changed: its hash"),
    (lambda p: p["keys"].pop(), "one inclusion path"),
    (lambda p: p["checkpoint"].update(size=p["checkpoint"]["size"] - 1), "(not in the tree|forged)"),
    (lambda p: p["checkpoint"].update(root="0" * 64), "not in the tree"),
    (lambda p: p["checkpoint"].update(at="2026-03-04T12:00:01.000Z"), "forged"),
    (lambda p: p["checkpoint"].update(site="K8"), "site K8"),
    (lambda p: p["checkpoint"].pop("at"), "exactly the keys"),
    (lambda p: p.update(gaps=[{"step": "packed", "before": "loaded", "why": "x"}]), "gaps told"),
    (lambda p: p.update(format="proof-2"), "not a proof of a format"),
    (lambda p: p.update(more=1), "malformed: check more"),
    (lambda p: p.pop("pack"), "malformed: check pack"),
    (lambda p: p.update(pack="P-K7-0042-0017-R"), "foreign"),
    (lambda p: p["inclusion"].update({"999": []}), "one inclusion path"),
    (lambda p: p["inclusion"].update({str(p["facts"][0]["seq"]): ["00"]}), "64 hex digits"),
])  # fmt: skip
def test_each_way_to_bend_a_proof_is_named_even_when_it_is_signed_anew(signed, bend, words):
    bridge, key, pack = signed
    proof = copy.deepcopy(made(bridge, key, pack))
    bend(proof)
    with pytest.raises(proofs.ProofFault, match=words):
        proofs.check(resigned(key, proof))
    assert refuses_outside(resigned(key, proof)) or words == "gaps told"


def test_a_foreign_fact_and_a_fact_left_out_with_its_path_are_refused(signed):
    bridge, key, pack = signed
    proof = made(bridge, key, pack)
    other = made(bridge, key, bridge.pack_of(codes.set_code("K7", 2).text))
    foreign = next(fact for fact in other["facts"] if fact["pack"] and fact["pack"] != pack)
    mixed = copy.deepcopy(proof)
    mixed["facts"] = sorted([*proof["facts"], foreign], key=lambda fact: fact["seq"])
    mixed["count"] += 1
    mixed["inclusion"][str(foreign["seq"])] = other["inclusion"][str(foreign["seq"])]
    with pytest.raises(proofs.ProofFault, match="foreign: it speaks of another pack"):
        proofs.check(resigned(key, mixed))
    short = copy.deepcopy(proof)
    gone = short["facts"].pop(6)
    short["count"] -= 1
    del short["inclusion"][str(gone["seq"])]
    with pytest.raises(proofs.ProofFault, match="changed after it was signed: a fact may be missing"):
        proofs.check(proofs.written(short))


def test_a_checkpoint_of_an_unknown_key_or_of_another_than_the_trusted_one_is_refused(signed, tmp_path):
    bridge, key, pack = signed
    proof, stranger = made(bridge, key, pack), make_key(tmp_path / "stranger.key")
    with bridge.desk.ledger.reading() as reader, pytest.raises(LedgerError, match="not the one site K7 signs with"):
        proofs.custody_proof(reader, reader.get("pack", pack), stranger, AT)
    told = proof["checkpoint"]
    forged = sign(stranger, site="K7", size=told["size"], root=bytes.fromhex(told["root"]), at=AT)
    with pytest.raises(proofs.ProofFault, match="unknown key"):
        proofs.check(resigned(stranger, proof | {"checkpoint": forged.as_dict()}))
    with pytest.raises(proofs.ProofFault, match="not the key you trust"):
        proofs.check(proofs.written(proof), stranger.public)


@pytest.mark.parametrize("file", [b"", b"{}", b"[]", b"\xff", b"[" * 100_000, b'{"format":1}\n', b"nonsense", b"{}\n"])
def test_what_is_no_proof_is_refused_in_one_line(file):
    with pytest.raises(proofs.ProofFault) as caught:
        proofs.check(file)
    assert "\n" not in str(caught.value)


def test_a_checkpoint_reads_back_from_its_line_and_the_line_fits_a_qr_of_capitals(signed):
    from label_templates.symbols import qr

    bridge, key, _ = signed
    made_now = Sealer(bridge.desk, key).sign_now()
    again = read_line("  ".join(made_now.line().split()))
    assert replace(again, key=made_now.key) == made_now
    assert again.signed(key.public)
    assert qr(made_now.line(), level="M").width <= 53
    for bent in (made_now.line()[:-1], "CHECKPOINT K7", made_now.line().lower()):
        with pytest.raises(CheckpointError):
            read_line(bent)


def test_the_sealer_signs_only_what_is_new_and_verify_confirms_it(signed):
    bridge, key, _ = signed
    sealer = Sealer(bridge.desk, key)
    first = sealer.sign_now()
    assert sealer.sign_now() == first
    bridge.new_set("Eye set")
    second = sealer.sign_now()
    assert second.size == first.size + 1
    with bridge.desk.ledger.reading() as reader:
        found = verify(reader)
        proof = proofs.consistency_proof(reader, first, second)
    assert (found.fault, found.checkpoints, found.covered) == (None, 2, {"K7": second.size})
    assert outside_proof.check(proofs.written(proof)) == f"{first.size} to {second.size}"
    assert proofs.check(proofs.written(proof)).earlier == first
    with pytest.raises(proofs.ProofFault, match="does not begin"):
        proofs.check(proofs.written(proof | {"path": proof["path"][:-1]}))


def test_a_key_changed_by_a_fact_signs_from_there_on_and_the_old_one_vouches(signed, tmp_path):
    bridge, key, pack = signed
    first = Sealer(bridge.desk, key).sign_now()
    fresh = make_key(tmp_path / "next.key")
    bridge.act("name key", by=None, key=fresh.public, vouched=key.sign(vouched_for("K7", fresh.public)))
    with pytest.raises(LedgerError, match="not the one"):
        Sealer(bridge.desk, key)
    second = Sealer(bridge.desk, fresh).sign_now()
    lost = make_key(tmp_path / "lost.key")
    bridge.act("name key", by=None, key=lost.public)
    with bridge.desk.ledger.reading() as reader:
        keys, found = Keys(reader.keys()), verify(reader)
    assert [keys.at(size) for size in (1, first.size, second.size)] == [None, key.public, fresh.public]
    assert found.fault is None
    assert found.warnings == (f"site K7: fact {second.size + 1} names a new key without the old key's signature",)
    assert proofs.check(proofs.written(made(bridge, lost, pack))).checkpoint.key == lost.public


def test_a_key_file_is_made_once_for_its_owner_and_refused_when_open_to_others(tmp_path):
    path = tmp_path / "k.key"
    key = make_key(path)
    assert load_key(path).public == key.public
    assert signed_by(key.public, key.sign({"a": 1}), {"a": 1})
    assert not signed_by(key.public, key.sign({"a": 1}), {"a": 2})
    with pytest.raises(LedgerError, match="never written over"):
        make_key(path)
    path.chmod(0o644)
    with pytest.raises(LedgerError, match="chmod 600"):
        load_key(path)
    (tmp_path / "no.key").write_bytes(b"nonsense")
    (tmp_path / "no.key").chmod(0o600)
    for name in ("no.key", "gone.key"):
        with pytest.raises(LedgerError, match=r"(not a signing key|cannot be read)"):
            load_key(tmp_path / name)
