"""The life of a label: printed once the pack is kept, stuck before the next set, written by hand, printed again."""

import queue

import pytest

from service.ledger.memory import MemoryLedger
from tests.practice import (
    NURSE,
    QUARANTINE,
    SHELF,
    TECHNICIAN,
    TarnBridge,
    chosen,
    patient,
    steam_load,
)
from tests.service.stations.steps import kinds


class Paper:
    """A printer: what came out of it, and what the ledger held of the pack at that moment."""

    def __init__(self, ledger):
        self.ledger, self.out, self.broken = ledger, queue.Queue(), False

    def pack(self, owner, pack, copy=1):
        if self.broken:
            self.out.put("broken")
            raise OSError("out of paper")
        with self.ledger.reading() as reader:
            there = reader.state.pack(pack.code)
        self.out.put((owner.name, pack.code, copy, there.packed_at, there.prints))

    def slip(self, _load, _machine, _pack):
        """Slips come out elsewhere."""


@pytest.fixture
def ledger():
    return MemoryLedger(chosen())


@pytest.fixture
def paper(ledger):
    return Paper(ledger)


@pytest.fixture
def printing(ledger, paper):
    """Tarn Bridge with a label printer."""
    practice = TarnBridge.over(ledger, printer=paper)
    yield practice
    practice.close()


def packed(bridge, *names):
    """Sets washed, the first of them packed, its label not stuck: their codes, and the first one's pack."""
    sets = [bridge.new_set(name) for name in names]
    bridge.wash(sets)
    bridge.scans("packing-1", TECHNICIAN, sets[0], "YES", "=16", "=24-117", "DONE")
    return sets, bridge.pack_of(sets[0])


def test_packed_is_kept_before_its_label_is_printed(printing, paper):
    _, pack = packed(printing, "A")
    name, code, copy, packed_at, prints = paper.out.get(timeout=10)
    assert (name, code, copy, prints) == ("A", pack, 1, 0)
    assert packed_at == printing.facts("packed")[0].at


def test_a_label_that_did_not_come_out_is_not_said_to_be_printed(printing, paper):
    paper.broken = True
    _, pack = packed(printing, "A")
    assert paper.out.get(timeout=10) == "broken"
    printing.desk._printing.submit(lambda: None).result(10)
    assert printing.where(pack) == "packed"
    assert printing.facts("label_printed") == []


def test_the_next_set_waits_until_the_label_is_stuck(bridge):
    sets, pack = packed(bridge, "A", "B")
    answer = bridge.scan("packing-1", sets[1])
    assert (answer["verdict"], answer["rule"], answer["headline"]) == (
        "ask",
        "label_first",
        "The label of A is not stuck yet.",
    )
    assert bridge.scan("packing-1", "NO")["headline"] == "Left as it was."
    assert bridge.scan("packing-1", sets[1])["rule"] == "label_first"
    assert bridge.scan("packing-1", pack)["headline"] == "A is labelled."
    assert bridge.scan("packing-1", sets[1])["headline"] == "B: clean, dry, in working order?"


@pytest.mark.parametrize(
    ("reason", "kept"),
    [("1", "printer is out: the code is written by hand"), ("=nobody there to stick it", "nobody there to stick it")],
)
def test_a_label_is_set_aside_with_a_reason_that_stands_beside_the_packing(bridge, reason, kept):
    sets, pack = packed(bridge, "A", "B")
    bridge.scan("packing-1", sets[1])
    assert bridge.scan("packing-1", reason)["headline"] == "B: clean, dry, in working order?"
    (note,) = bridge.facts("amended")
    assert (note.pack, note.data) == (
        pack,
        {"of": bridge.facts("packed")[0].id, "undo": False, "why": f"label not stuck yet: {kept}"},
    )
    bridge.scans("packing-1", "YES", "=16", "YES", "DONE")
    assert bridge.scan("packing-1", pack)["rule"] == "wrong_label"
    assert bridge.scan("packing-1", bridge.pack_of(sets[1]))["verdict"] == "go"
    assert bridge.scan("packing-1", pack)["headline"] == "A is labelled."


def test_a_reason_given_for_the_label_is_not_taken_for_another_question(bridge):
    sets, _ = packed(bridge, "A", "B")
    bridge.act("retire set", set=sets[1], why="worn out")
    bridge.scan("packing-1", sets[1])
    assert bridge.scan("packing-1", "1")["rule"] == "set_retired"
    assert len(bridge.facts("amended")) == 1


def test_no_lets_the_label_wait_and_the_pack_is_not_loaded_before_it(bridge):
    _, pack = packed(bridge, "A")
    assert bridge.scan("packing-1", "NO")["headline"] == "The label of A waits."
    bridge.scans("loading-1", TECHNICIAN, steam_load(1))
    assert bridge.scan("loading-1", pack)["rule"] == "not_labelled"


def test_without_a_printer_the_code_is_written_by_hand_typed_and_loaded(bridge):
    """The story of a night without a printer: written, typed at packing, typed again wherever it is read by eye."""
    one = bridge.new_set("A")
    bridge.wash([one])
    asked = bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16", "=24-117", "DONE")
    pack = bridge.pack_of(one)
    assert f"write {pack} on it by hand" in asked["next"]
    assert bridge.scan("packing-1", f"={pack.lower()}")["headline"] == "A is labelled."
    assert [fact.data for fact in bridge.facts("labelled")] == [{"by_hand": True}]
    bridge.scans("loading-1", TECHNICIAN, steam_load(1))
    assert bridge.scan("loading-1", f"={pack}")["verdict"] == "go"
    assert bridge.facts("label_printed") == []


def test_a_code_typed_wrong_is_no_label_and_says_nothing_of_the_pack(bridge):
    _, pack = packed(bridge, "A")
    wrong = pack[:-1] + ("A" if pack[-1] != "A" else "B")
    assert bridge.scan("packing-1", f"={wrong}")["headline"] == "That was not asked for."
    assert bridge.scan("packing-1", wrong)["rule"] == "unreadable"
    assert bridge.facts("labelled") == []


def test_a_pack_whose_label_cannot_be_read_goes_round_by_typing_its_code(bridge):
    one = bridge.new_set("A")
    bridge.wash([one])
    pack = bridge.pack(one)
    load = steam_load(1)
    assert bridge.scans("loading-1", TECHNICIAN, load, f"={pack}")["verdict"] == "go"
    bridge.scans("loading-1", "DONE", "1")
    bridge.wait(40)
    assert bridge.scans("unloading-1", TECHNICIAN, load, "END", "PASS", f"={pack}")["verdict"] == "go"
    bridge.judge(load), bridge.wait(60)
    assert bridge.scans("store-1", TECHNICIAN, QUARANTINE, f"={pack}")["verdict"] == "go"
    bridge.release(load)
    assert bridge.scans("store-1", SHELF, f"={pack}")["verdict"] == "go"
    bridge.scan("office-1", NURSE)
    assert bridge.scan("office-1", f"={pack}")["headline"].startswith("A, turn 1: released")
    bridge.scans("theatre-1", NURSE, patient(812))
    assert bridge.scan("theatre-1", f"={pack}")["verdict"] == "go"
    assert bridge.scan("theatre-1", "TURNED")["verdict"] == "go"
    assert bridge.where(pack) == "opened"


def test_a_spoiled_label_is_printed_again_by_the_set_tag_and_scanned_like_the_first(printing, paper):
    """Spoiled before it was stuck: the tag, YES, the copy comes out, and only its scan lets the next set in."""
    sets, pack = packed(printing, "A", "B")
    assert paper.out.get(timeout=10)[1:3] == (pack, 1)
    printing.desk._printing.submit(lambda: None).result(10)
    assert printing.scan("packing-1", sets[0])["headline"] == "Print the label of A again?"
    answer = printing.scan("packing-1", "YES")
    assert (answer["headline"], answer["detail"]) == ("The label of A is printed again.", "It is marked as copy 2.")
    assert paper.out.get(timeout=10)[:3] == ("A", pack, 2)
    assert printing.scan("packing-1", sets[1])["rule"] == "label_first"
    assert printing.scan("packing-1", pack)["headline"] == "A is labelled."
    assert [fact.data for fact in printing.facts("labelled")] == [{}]
    assert [fact.data for fact in printing.facts("label_printed")] == [{"copy": 1}, {"copy": 2}]


def labelled(printing, paper):
    sets, pack = packed(printing, "A", "B")
    paper.out.get(timeout=10)
    printing.desk._printing.submit(lambda: None).result(10)
    printing.scan("packing-1", pack)
    return sets, pack


def test_a_label_torn_after_it_was_scanned_is_printed_again_and_scanned_again(printing, paper):
    sets, pack = labelled(printing, paper)
    printing.scans("packing-1", sets[0], "YES")
    assert paper.out.get(timeout=10)[2] == 2
    assert printing.scan("packing-1", sets[1])["rule"] == "label_first"
    printing.scan("packing-1", pack), printing.scan("packing-1", pack)
    assert [fact.data for fact in printing.facts("labelled")] == [{}, {"copy": 2}]


def test_a_packs_label_is_printed_again_at_the_office_wherever_it_is_sealed(printing, paper):
    """The label of a released pack was rubbed off on the shelf: found by its set tag, printed, scanned."""
    sets, pack = labelled(printing, paper)
    load = printing.sterilise([pack])
    printing.release(load)
    printing.scan("office-1", NURSE)
    assert "YES prints its label again" in printing.scan("office-1", sets[0])["next"]
    assert printing.scan("office-1", "YES")["headline"] == "The label of A is printed again."
    assert paper.out.get(timeout=10)[:3] == ("A", pack, 2)
    other = printing.new_set("C")
    printing.wash([other], 2)
    assert printing.scan("office-1", printing.pack_of(other))["rule"] == "wrong_label"
    assert printing.scan("office-1", pack)["headline"] == "A is labelled."
    assert (printing.facts("labelled")[-1].data, printing.where(pack)) == ({"copy": 2}, "released")
    assert printing.scans("theatre-1", NURSE, patient(812), pack)["verdict"] == "go"


def test_a_copy_cannot_be_taken_back_for_it_lies_there(printing, paper):
    sets, _ = labelled(printing, paper)
    printing.scans("packing-1", sets[0], "YES")
    assert printing.scan("packing-1", "UNDO")["rule"] == "never_undone"


def test_an_opened_pack_gets_no_copy_and_a_clean_one_has_no_label_yet(printing, paper):
    sets, pack = labelled(printing, paper)
    load = printing.sterilise([pack])
    printing.release(load)
    printing.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    printing.scan("office-1", NURSE)
    for tag in sets:
        assert "prints its label" not in printing.scan("office-1", tag)["next"]
        assert printing.scan("office-1", "YES")["rule"] == "no_meaning"
    assert len(printing.facts("label_printed")) == 1


def test_where_no_printer_is_set_up_none_is_promised(bridge):
    one = bridge.new_set("A")
    bridge.wash([one])
    bridge.pack(one)
    start = len(bridge.facts())
    assert bridge.scan("packing-1", one)["rule"] == "already_packed"
    bridge.scan("office-1", NURSE)
    assert "prints" not in bridge.scan("office-1", one)["next"]
    assert bridge.scan("office-1", "YES")["rule"] == "no_meaning"
    assert kinds(bridge, start) == ["refused"]
