"""The wash, and what holds everywhere: badges, cards, clocks, scans sent twice."""

import pytest

from label_templates import codes
from tests.practice import (
    SURGEON,
    TECHNICIAN,
    TarnBridge,
    patient,
    wash_load,
)

PAT = patient(812)


def test_a_badge_says_who_is_working_here(bridge):
    answer = bridge.scan("wash-1", TECHNICIAN)
    assert (answer["verdict"], answer["facts"]) == ("go", [])
    assert "003" in answer["headline"]


def test_nothing_is_written_before_somebody_signs_on(bridge):
    answer = bridge.scan("wash-1", wash_load(1))
    assert (answer["verdict"], answer["rule"], answer["facts"]) == ("ask", "nobody_signed_on", [])


def test_after_a_quiet_spell_the_badge_is_asked_for_again(bridge):
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    bridge.wait(19)
    assert bridge.scan("wash-1", wash_load(1))["verdict"] == "go"
    bridge.wait(21)
    assert bridge.scan("wash-1", wash_load(1))["rule"] == "nobody_signed_on"


def test_the_badge_of_someone_who_left_is_stopped(bridge):
    bridge.act("staff left", badge=TECHNICIAN)
    assert bridge.scan("wash-1", TECHNICIAN)["rule"] == "not_on_staff"


def test_a_badge_on_duty_that_leaves_in_mid_shift_is_stopped(bridge):
    bridge.scan("wash-1", TECHNICIAN)
    bridge.act("staff left", badge=TECHNICIAN)
    assert bridge.scan("wash-1", wash_load(1))["rule"] == "not_on_staff"


def test_the_wash_begins_a_turn_and_mints_the_pack_code(bridge):
    one = bridge.new_set()
    before = len(bridge.facts())
    answer = bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    assert answer["verdict"] == "go"
    received, loaded = bridge.facts()[before:]
    assert (received.kind, received.data["turn"], received.data["enter"]) == ("received", 1, "soiled")
    assert received.pack == codes.pack_code(one, 1).text == loaded.pack
    assert (loaded.kind, loaded.load, received.load, loaded.by) == ("wash_loaded", wash_load(1), None, TECHNICIAN)
    assert bridge.where(received.pack) == "washing"


@pytest.mark.parametrize(("said", "state"), [("PASS", "clean"), ("FAIL", "soiled")])
def test_the_end_of_a_wash_says_pass_or_fail(bridge, said, state):
    one = bridge.new_set()
    assert bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, "DONE")["verdict"] == "ask"
    assert bridge.scan("wash-1", said)["verdict"] == "go"
    assert bridge.where(bridge.pack_of(one)) == state
    assert bridge.facts("wash_ended")[0].data == {"result": said.lower(), "steps": ["clean"]}


def test_a_set_of_a_failed_wash_goes_into_another_in_the_same_turn(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, "FAIL")
    bridge.wash([one], 2)
    assert (bridge.record("set", one).turn, bridge.where(bridge.pack_of(one))) == (1, "clean")


def test_a_wash_load_card_is_used_once(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    assert bridge.scan("wash-1", wash_load(1))["rule"] == "load_used"


def test_an_empty_wash_cannot_end(bridge):
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    assert bridge.scan("wash-1", "PASS")["rule"] == "load_not_open"


def test_a_set_scanned_twice_into_one_wash_is_told_so_and_nothing_is_written(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    before = len(bridge.facts())
    answer = bridge.scan("wash-1", one)
    assert (answer["verdict"], len(bridge.facts())) == ("go", before)
    assert "already" in answer["headline"]


def test_a_set_in_one_wash_is_stopped_at_another(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one, wash_load(2))
    assert bridge.scan("wash-1", one)["rule"] == "in_another_wash"


def test_a_set_still_sealed_by_the_record_asks_at_the_wash(bridge):
    pack, _ = bridge.ready()
    one = bridge.record("pack", pack).set
    bridge.scans("wash-1", TECHNICIAN, wash_load(2))
    assert bridge.scan("wash-1", one)["rule"] == "still_sealed"
    assert bridge.scan("wash-1", "NO")["verdict"] == "go"
    assert bridge.record("set", one).turn == 1
    bridge.scan("wash-1", one)
    assert bridge.scan("wash-1", "YES")["verdict"] == "go"
    assert bridge.record("set", one).turn == 2
    assert "not opened by the record" in bridge.facts("received")[-1].data["why"]


def test_the_same_scan_sent_twice_gets_the_same_answer_and_writes_nothing(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    scan_id = bridge.new_id()
    first = bridge.scan("wash-1", one, scan_id)
    before = len(bridge.facts())
    assert bridge.scan("wash-1", one, scan_id) == first
    assert len(bridge.facts()) == before


def test_the_conversation_survives_a_restart(on_disk, tmp_path):
    first = on_disk
    one = first.new_set()
    first.scans("wash-1", TECHNICIAN, wash_load(1))
    second = TarnBridge(tmp_path)
    second.at = first.at
    assert second.scan("wash-1", one)["verdict"] == "go"
    second.close()


def test_scans_arriving_out_of_order_keep_the_time_they_happened(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    early = (bridge.at.replace(minute=bridge.at.minute)).isoformat().replace("08:", "07:")
    bridge.scan("wash-1", one, seen_at=early)
    fact = bridge.facts("received")[0]
    assert fact.at.startswith("2026-03-04T07:")
    assert fact.noted_at.startswith("2026-03-04T08:")


def test_a_clock_ahead_becomes_now_and_the_fact_says_so(bridge):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    bridge.scan("wash-1", one, seen_at="2031-01-01T00:00:00Z")
    fact = bridge.facts("received")[0]
    assert fact.at == fact.noted_at
    assert fact.data["clock"] == "ahead"


def test_the_surgeon_is_no_technician_but_may_work_anywhere(bridge):
    assert bridge.scan("wash-1", SURGEON)["verdict"] == "go"


def test_a_service_clock_that_jumps_back_loses_nothing(bridge):
    one, two = bridge.new_set("A"), bridge.new_set("B")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    bridge.wait(-180)
    assert bridge.scan("wash-1", two)["verdict"] == "go"
    assert bridge.scan("wash-1", "PASS")["verdict"] == "go"
    notes = [fact.noted_at for fact in bridge.facts()]
    assert notes != sorted(notes)
    assert [fact.seq for fact in bridge.facts()] == list(range(1, len(notes) + 1))


def test_a_screen_that_fails_holds_up_nobody(bridge):
    def broken(_station, _answer):
        raise RuntimeError

    bridge.desk.listen(broken)
    assert bridge.scan("wash-1", TECHNICIAN)["verdict"] == "go"
    assert bridge.scan("wash-1", wash_load(1))["verdict"] == "go"
    bridge.desk.forget(broken)


def test_a_scan_that_breaks_a_rule_unforeseen_takes_back_only_itself(bridge, monkeypatch):
    from service.custody import rules

    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    before = len(bridge.facts())
    with monkeypatch.context() as patch:
        patch.setitem(rules.ACTS, "wash set", lambda state, act: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            bridge.scan("wash-1", one)
    assert len(bridge.facts()) == before
    assert bridge.scan("wash-1", one)["verdict"] == "go"


def test_one_that_cannot_be_written_holds_up_no_other_of_its_batch(on_disk):
    bridge = on_disk
    import threading

    from service.stations.writer import Done

    gate = threading.Event()
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))

    def wait(_batch, _part):
        gate.wait(5)
        return Done({"verdict": "go"})

    first = bridge.desk.probe(wait)
    bad = bridge.desk.beside(bridge.new_id(), lambda batch: batch.keep_name("A", "patient", "\ud800", None), {})
    good = bridge.desk.scan({"id": bridge.new_id(), "station": "wash-1", "code": one})
    gate.set()
    assert first.result(5)["verdict"] == "go"
    with pytest.raises(UnicodeEncodeError):
        bad.result(5)
    assert good.result(5)["verdict"] == "go"
