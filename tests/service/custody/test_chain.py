"""The chain: places on the circle, gaps, use-by, and facts that may not be written."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from service.custody import facts
from service.custody.chain import CIRCLE, custody, flags_of, gaps, state_of, step_of, use_by
from service.custody.facts import Fact, FactError
from service.custody.records import Load, Pack
from tests.practice import NURSE, TECHNICIAN, patient, wash_load

PACK = Pack("P", "S", 1, "soiled", "2026-03-04T08:00:00.000Z")


def fact(kind, seq=1, **data):
    return Fact(kind, "2026-03-04T08:00:00.000Z", "K7", "x-1", None, "S", "P", "L", None, data, seq, str(seq))


def pack(**more):
    return Pack(**({f: getattr(PACK, f) for f in PACK.__slots__} | more))


@pytest.mark.parametrize(
    ("record", "wash", "steam", "state"),
    [
        (pack(), None, None, "soiled"),
        (pack(wash="W"), Load("W", "W", ""), None, "washing"),
        (pack(wash="W"), Load("W", "W", "", result="pass"), None, "clean"),
        (pack(wash="W"), Load("W", "W", "", result="fail"), None, "soiled"),
        (pack(wash="W", rewash=True), Load("W", "W", "", result="pass"), None, "soiled"),
        (pack(enter="clean"), None, None, "clean"),
        (pack(packed_at="x"), None, None, "packed"),
        (pack(packed_at="x", load="L"), None, Load("L", "L", ""), "loaded"),
        (pack(load="L", unloaded_at="x"), None, Load("L", "L", ""), "waiting"),
        (pack(load="L", unloaded_at="x"), None, Load("L", "L", "", released_at="x"), "released"),
        (pack(opened_at="x", load="L"), None, Load("L", "L", ""), "opened"),
    ],
)
def test_a_packs_place_on_the_circle_follows_from_it_and_its_loads(record, wash, steam, state):
    assert state_of(record, wash, steam) == state
    assert state in CIRCLE


def test_a_flag_never_changes_the_state():
    held = Load("L", "L", "", released_at="x", held="why", rejected="why")
    record = pack(load="L", unloaded_at="x", recalls=("R",), compromised=("wet",))
    assert flags_of(record, None, held) == ["held", "compromised", "recalled"]
    assert state_of(record, None, held) == "released"


def test_flags_of_the_wash_load_count_too():
    assert flags_of(pack(wash="W"), Load("W", "W", "", held="x"), None) == ["held"]
    assert flags_of(pack(wash="W"), Load("W", "W", "", rejected="x"), None) == ["compromised"]


WHOLE = [
    fact("received", 1, turn=1, enter="soiled"), fact("wash_loaded", 2), fact("wash_ended", 3, result="pass"), fact("packed", 4),
    fact("loaded", 5), fact("cycle_started", 6), fact("cycle_ended", 7), fact("unloaded", 8), fact("cycle_judged", 9, verdict="pass"),
    fact("released", 10), fact("opened", 11),
]  # fmt: skip


def test_a_whole_chain_has_no_gap_and_the_judgement_may_come_after_unloading():
    assert gaps(WHOLE) == []


@pytest.mark.parametrize("missing", [f.kind for f in WHOLE[:-1]])
def test_each_step_left_out_is_a_gap(missing):
    found = gaps([f for f in WHOLE if f.kind != missing])
    assert [gap["step"] for gap in found] == [missing]
    assert found[0]["why"]


def test_a_step_that_failed_or_was_undone_is_a_gap():
    failed = [fact("wash_ended", 3, result="fail") if f.kind == "wash_ended" else f for f in WHOLE]
    assert [gap["step"] for gap in gaps(failed)] == ["wash_ended"]
    undone = [*WHOLE[:10], fact("amended", 12, of="10", undo=True, why=""), WHOLE[10]]
    assert [gap["step"] for gap in gaps(undone)] == ["released"]
    noted = [*WHOLE, fact("amended", 12, of="10", undo=False, why="")]
    assert gaps(noted) == []


def test_a_release_after_the_opening_does_not_mend_the_gap():
    late = [*WHOLE[:9], WHOLE[10], WHOLE[9]]
    assert [(gap["step"], gap["before"]) for gap in gaps(late)] == [("released", "opened")]


def test_a_pack_that_got_no_further_has_no_gap():
    assert gaps(WHOLE[:4]) == []
    assert step_of(fact("stored", shelf="H")) is None


def test_custody_of_a_pack_that_entered_clean_brings_the_wash_of_the_turn_before(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    first = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, "L-K7-1-0001-J", first)
    bridge.act("compromise", pack=first, why="torn")
    bridge.scans("packing-1", TECHNICIAN, one, "2", "YES", "=16", "YES", "DONE")
    second = bridge.pack_of(one)
    bridge.scan("packing-1", second)
    load = bridge.sterilise([second], 2)
    bridge.release(load)
    bridge.scans("theatre-1", NURSE, patient(812), second, "TURNED")
    with bridge.desk.ledger.reading() as reader:
        found = custody(reader.state, reader.state.pack(second))
    assert found["gaps"] == []
    assert [f["pack"] for f in found["facts"] if f["kind"] == "wash_loaded"] == [first]
    assert [f["load"] for f in found["facts"] if f["kind"] == "wash_ended"] == [wash_load(1)]
    assert found["patients"] == [patient(812)]


# Dates: 2026-03-04 + 28, 30 and 180 days (python-dateutil 4.0.0, the project's CHECKS section 7). Last day included: PRACTICE.
@pytest.mark.parametrize(("days", "last"), [(28, "2026-04-01"), (30, "2026-04-03"), (180, "2026-08-31")])
def test_use_by_counts_days_from_the_sterilising_day(days, last):
    steam = Load("L", "L", "", ended_at="2026-03-04T10:00:00.000Z")
    assert use_by(pack(shelf_days=days), steam, ZoneInfo("Europe/London")) == date.fromisoformat(last)
    assert use_by(pack(shelf_days=None), steam, ZoneInfo("Europe/London")) is None
    assert use_by(pack(shelf_days=days), None, ZoneInfo("Europe/London")) is None


def test_the_sterilising_day_is_the_sites_own():
    steam = Load("L", "L", "", ended_at="2026-03-04T12:00:00.000Z")
    assert use_by(pack(shelf_days=0), steam, ZoneInfo("Pacific/Auckland")) == date(2026, 3, 5)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (fact("sterilised"), "not a kind"),
        (fact("received", turn=1), "needs enter"),
        (fact("stored", shelf="e\u0301"), "NFC"),
        (fact("stored", shelf="\ud800"), "half a character"),
        (fact("stored", shelf=1.5), "float"),
        (fact("stored", shelf=2**53), "too large"),
        (fact("stored", shelf=[{"deep": 0.1}]), "float"),
    ],
)
def test_a_fact_that_may_not_be_written_says_why(wrong, words):
    with pytest.raises(FactError, match=words):
        facts.check(wrong)


def test_times_are_written_in_utc_with_milliseconds():
    assert facts.stamp(datetime(2026, 3, 4, 7, 12, 9, 120_900, tzinfo=UTC)) == "2026-03-04T07:12:09.120Z"
    with pytest.raises(FactError, match="no time zone"):
        facts.stamp(datetime(2026, 3, 4))
    for wrong in ("yesterday", "2026-03-04T07:12:09"):
        with pytest.raises(FactError, match=r"RFC 3339|no zone"):
            facts.moment(wrong)


def test_a_fact_comes_back_from_its_exported_form_and_refuses_another():
    one = fact("loaded")
    assert Fact.from_dict(one.as_dict()) == one
    with pytest.raises(FactError, match="hash"):
        Fact.from_dict({key: value for key, value in one.as_dict().items() if key != "hash"})
