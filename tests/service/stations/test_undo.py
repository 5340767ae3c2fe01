"""UNDO: what may be taken back, and what never. Every ledger here is replayed and compared at the end."""

import pytest

from tests.practice import NURSE, SHELF, SURGEON, TECHNICIAN, patient, steam_load, wash_load

PAT = patient(812)


def washed(bridge, name="A", number=1):
    one = bridge.new_set(name)
    bridge.wash([one], number)
    return one


def test_a_set_in_the_wash_is_taken_back(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    answer = bridge.scan("wash-1", "UNDO")
    assert (answer["verdict"], answer["headline"]) == ("go", "Taken back.")
    notes = bridge.facts("amended")
    assert [note.data["undo"] for note in notes] == [True, True]
    assert {note.data["of"] for note in notes} == {
        fact.id for fact in bridge.facts() if fact.kind in {"received", "wash_loaded"}
    }
    assert bridge.record("load", wash_load(1)) is None


def test_a_turn_taken_back_never_gives_its_number_again(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, "UNDO", one)
    assert [fact.data["turn"] for fact in bridge.facts("received")] == [1, 2]


def test_only_the_last_scan_is_taken_back_and_only_once(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), first, second, "UNDO")
    assert bridge.record("load", wash_load(1)).packs == (bridge.pack_of(first),)
    assert bridge.scan("wash-1", "UNDO")["rule"] == "nothing_to_undo"


def test_after_two_minutes_it_is_too_late(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    bridge.wait(2)
    assert bridge.scan("wash-1", "UNDO")["rule"] == "too_late_to_undo"


def test_a_pass_is_taken_back_until_something_was_built_on_it(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, "PASS")
    assert bridge.scan("wash-1", "UNDO")["verdict"] == "go"
    assert bridge.where(bridge.pack_of(one)) == "washing"
    bridge.scan("wash-1", "PASS")
    bridge.scans("packing-1", TECHNICIAN, one, "YES")
    assert bridge.scan("wash-1", "UNDO")["rule"] == "built_on"


def test_a_fail_is_never_taken_back(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, "FAIL")
    assert bridge.scan("wash-1", "UNDO")["rule"] == "never_undone"


def test_packed_and_labelled_are_taken_back_one_scan_at_a_time(bridge):
    one = washed(bridge)
    pack = bridge.pack(one)
    assert bridge.scan("packing-1", "UNDO")["verdict"] == "go"
    assert bridge.record("pack", pack).labelled_at is None
    assert bridge.where(pack) == "packed"


def test_a_closed_pack_is_taken_back_with_its_label_printed(bridge):
    one = washed(bridge)
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16", "=24", "DONE")
    bridge.act("print label", pack=bridge.pack_of(one))
    assert bridge.scan("packing-1", "UNDO")["verdict"] == "go"
    assert bridge.where(bridge.pack_of(one)) == "clean"


def test_a_bad_inspection_is_never_taken_back(bridge):
    one = washed(bridge)
    bridge.scans("packing-1", TECHNICIAN, one, "NO", "1")
    assert bridge.scan("packing-1", "UNDO")["rule"] == "never_undone"


def test_loaded_taken_out_and_started_are_taken_back(bridge):
    one = washed(bridge)
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "UNDO")
    assert bridge.where(pack) == "packed"
    bridge.scans("loading-1", pack, "OUT", pack, "UNDO")
    assert bridge.record("load", steam_load(1)).packs == (pack,)
    bridge.scans("loading-1", "DONE", "1", "UNDO")
    assert bridge.record("load", steam_load(1)).started_at is None
    assert bridge.scans("loading-1", "DONE", "1")["verdict"] == "go"


def test_a_load_that_started_keeps_its_packs(bridge):
    one = washed(bridge)
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack)
    bridge.scans("loading-2", TECHNICIAN, steam_load(1), "DONE", "1")
    assert bridge.scan("loading-1", "UNDO")["rule"] == "built_on"


def test_an_unloaded_pack_is_taken_back_and_its_wet_note_is_not(bridge):
    one = washed(bridge)
    pack = bridge.pack(one)
    bridge.sterilise([pack], unload=False)
    bridge.scans("unloading-1", pack, "UNDO")
    assert bridge.where(pack) == "loaded"
    bridge.scans("unloading-1", pack, "WET")
    assert bridge.scan("unloading-1", "UNDO")["rule"] == "never_undone"
    assert bridge.flags(pack) == ["compromised"]


@pytest.mark.parametrize("word", ["TORN", "DROPPED", "PALE"])
def test_bad_news_at_unloading_is_never_taken_back(bridge, word):
    one = washed(bridge)
    pack = bridge.pack(one)
    bridge.sterilise([pack], unload=False)
    bridge.scans("unloading-1", pack, word)
    assert bridge.scan("unloading-1", "UNDO")["rule"] == "never_undone"


def test_a_fault_on_the_display_is_never_taken_back(bridge):
    one = washed(bridge)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), bridge.pack(one), "DONE", "1")
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1), "END", "FAIL")
    assert bridge.scan("unloading-1", "UNDO")["rule"] == "never_undone"


def test_a_release_or_reject_by_card_is_never_taken_back(bridge):
    one = washed(bridge)
    load = bridge.sterilise([bridge.pack(one)])
    bridge.scans("office-1", NURSE, load, "YES")
    assert bridge.scan("office-1", "UNDO")["rule"] == "never_undone"
    bridge.scans("office-1", NURSE, load)
    assert bridge.act("reject", load=load, why="x")["verdict"] == "go"


def test_a_pack_on_a_shelf_is_taken_back_to_the_shelf_before(bridge):
    pack, _ = bridge.ready()
    bridge.wait(40)
    bridge.scans("store-1", TECHNICIAN, SHELF, pack, "UNDO")
    assert bridge.record("pack", pack).shelf is None


def test_an_opening_is_taken_back_only_when_the_wrap_is_unbroken(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, PAT, pack, "TURNED")
    assert bridge.scan("theatre-1", "UNDO")["rule"] == "is_the_wrap_unbroken"
    assert bridge.scan("theatre-1", "NO")["verdict"] == "go"
    assert bridge.where(pack) == "opened"
    bridge.scan("theatre-1", "UNDO")
    assert bridge.scan("theatre-1", "YES")["headline"] == "Taken back."
    assert bridge.where(pack) == "released"
    assert bridge.record("pack", pack).patient is None
    assert bridge.record("case", bridge.facts("case_opened")[0].data["case"]).packs == ()


def test_a_pale_strip_is_never_taken_back(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, PAT, pack, "PALE")
    assert bridge.scan("theatre-1", "UNDO")["rule"] == "never_undone"


def test_an_override_is_never_taken_back(bridge):
    one = washed(bridge)
    pack = bridge.pack(one)
    bridge.sterilise([pack])
    bridge.scans("theatre-1", NURSE, PAT, pack, SURGEON, "=no other set")
    assert bridge.facts("overridden")
    assert bridge.scan("theatre-1", "UNDO")["rule"] == "never_undone"


def test_a_count_and_a_closed_case_are_taken_back(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, PAT, pack, "TURNED", "=10", "UNDO")
    case = bridge.facts("case_opened")[0].data["case"]
    assert bridge.record("case", case).counts == ()
    bridge.scans("theatre-1", "=10", "=10", "DONE", "UNDO")
    assert bridge.record("case", case).closed_at is None
    assert bridge.scan("theatre-1", "DONE")["verdict"] == "go"


def test_a_case_opened_by_mistake_is_taken_back_while_nothing_was_done_in_it(bridge):
    bridge.scans("theatre-1", NURSE, PAT, "UNDO")
    assert bridge.scan("theatre-1", patient(813))["verdict"] == "go"
    assert [f.data["number"] for f in bridge.facts("case_opened")] == [1, 2]


def test_a_question_is_left_by_undo_without_writing(bridge):
    pack, _ = bridge.ready()
    bridge.scans("store-1", TECHNICIAN, SHELF, pack)
    before = len(bridge.facts())
    assert bridge.scan("store-1", "UNDO")["headline"] == "Left as it was."
    assert len(bridge.facts()) == before
