"""PINs at the stations: asked for, given by keys or digit cards, proved, and never kept."""

import sqlite3
from datetime import timedelta

import pytest

from label_templates.codes import badge_code
from service.access.doors import TRIES
from service.custody.rules.overrides import CONFIRM_WITHIN
from tests.entry import PIN, Entry
from tests.practice import MANAGER, NURSE, SURGEON, TECHNICIAN
from tests.service.stations.steps import at_theatre, override, waiting


def guard(practice):
    """The manager, the nurse and the surgeon have chosen their PINs, and the stations ask for them."""
    entry = Entry(practice.desk)
    for badge in (MANAGER, NURSE, SURGEON):
        entry.doors.choose_pin(entry.doors.pin_link(badge), PIN, "127.0.0.1")
    practice.desk.ask_pins(entry.doors.why_not)
    return practice


@pytest.fixture
def guarded(bridge):
    return guard(bridge)


def ask_to_release(bridge):
    """A load judged and looked at by the nurse, who shows YES."""
    pack, load = waiting(bridge)
    bridge.scans("office-1", NURSE, load)
    return pack, load, bridge.scan("office-1", "YES")


def test_a_release_by_card_waits_for_the_pin(guarded):
    _, load, answer = ask_to_release(guarded)
    assert (answer["verdict"], answer["rule"], answer["pin_of"]) == ("ask", "pin_wanted", NURSE)
    assert not guarded.facts("released")
    assert guarded.scan("office-1", f"={PIN}")["headline"] == f"Load {load[7:11]} is released."
    assert guarded.facts("released")[0].by == NURSE


def test_the_pin_is_given_by_digit_cards_as_well(guarded):
    ask_to_release(guarded)
    shown = [guarded.scan("office-1", digit)["headline"].count("•") for digit in PIN]
    assert shown == [1, 2, 3, 4, 5, 6]
    assert guarded.scan("office-1", "DONE")["verdict"] == "go"
    assert guarded.facts("released")


def test_a_digit_card_sent_twice_counts_once(guarded):
    ask_to_release(guarded)
    for digit in PIN:
        same = guarded.new_id()
        assert guarded.scan("office-1", digit, scan_id=same) == guarded.scan("office-1", digit, scan_id=same)
    assert guarded.scan("office-1", "DONE")["verdict"] == "go"


def test_a_wrong_pin_does_nothing_and_may_be_given_again(guarded):
    ask_to_release(guarded)
    answer = guarded.scan("office-1", "=111222")
    assert (answer["verdict"], answer["rule"]) == ("ask", "pin_wanted")
    assert not guarded.facts("released")
    assert guarded.scan("office-1", f"={PIN}")["verdict"] == "go"


def test_too_many_wrong_pins_lock_the_badge_at_the_station_too(guarded):
    ask_to_release(guarded)
    for _ in range(TRIES["badge"]):
        guarded.scan("office-1", "=111222")
    answer = guarded.scan("office-1", f"={PIN}")
    assert "locked until" in answer["detail"]
    assert not guarded.facts("released")


def test_no_leaves_it_and_another_scan_goes_on(guarded):
    _, load, _ = ask_to_release(guarded)
    assert guarded.scan("office-1", "NO")["headline"] == "Left as it was."
    assert guarded.scan("office-1", f"={PIN}")["headline"] == "That was not asked for."
    guarded.scans("office-1", load, "YES")
    assert "waiting" not in guarded.scan("office-1", load)["headline"]
    assert guarded.scan("office-1", f"={PIN}")["headline"] == "That was not asked for."
    assert not guarded.facts("released")


def test_another_badge_does_not_release_on_the_pin_of_the_first(guarded):
    ask_to_release(guarded)
    guarded.scan("office-1", TECHNICIAN)
    guarded.scan("office-1", f"={PIN}")
    assert not guarded.facts("released")


def test_a_rejection_takes_its_reason_and_the_pin(guarded):
    _, load, _ = ask_to_release(guarded)
    guarded.scans("office-1", load, "FAIL")
    assert guarded.scan("office-1", "=the chart has a hole")["rule"] == "pin_wanted"
    assert not guarded.facts("rejected")
    guarded.scan("office-1", f"={PIN}")
    assert guarded.facts("rejected")[0].data["why"] == "the chart has a hole"


def test_a_refusal_comes_before_the_pin(guarded):
    _, load = waiting(guarded)
    guarded.scans("office-1", TECHNICIAN, load)
    assert guarded.scan("office-1", "YES")["rule"] != "pin_wanted"


def test_a_service_started_anew_asks_for_the_pin_once_more(guarded):
    ask_to_release(guarded)
    entry = Entry(guarded.desk)
    guarded.desk.ask_pins(entry.doors.why_not)  # a new process remembers nothing of which station waits
    assert guarded.scan("office-1", f"={PIN}")["headline"] == "The PIN once more?"
    assert guarded.scan("office-1", f"={PIN}")["verdict"] == "go"
    assert guarded.facts("released")


def test_the_surgeon_confirms_an_override_at_once(guarded):
    pack, _ = waiting(guarded)
    at_theatre(guarded, pack)
    answer = override(guarded, pack)
    assert (answer["rule"], answer["pin_of"]) == ("pin_wanted", SURGEON)
    assert guarded.scan("theatre-1", f"={PIN}")["headline"] == "The override is confirmed."
    (confirmed,) = guarded.facts("override_confirmed")
    assert confirmed.data == {"of": guarded.facts("overridden")[0].id, "late": False}
    assert (confirmed.by, confirmed.pack) == (SURGEON, pack)
    assert guarded.scan("theatre-1", "TURNED")["verdict"] == "go"


def test_the_pack_may_be_opened_before_the_pin(guarded):
    pack, _ = waiting(guarded)
    at_theatre(guarded, pack)
    override(guarded, pack)
    assert guarded.scan("theatre-1", "TURNED")["verdict"] == "go"
    assert not guarded.facts("override_confirmed")
    answer = guarded.act("confirm override", by=SURGEON, pack=pack)
    assert (answer["verdict"], len(guarded.facts("override_confirmed"))) == ("go", 1)
    assert guarded.act("confirm override", by=SURGEON, pack=pack)["rule"] == "nothing_to_confirm"


def test_a_pin_while_counting_gauze_never_becomes_a_count(guarded):
    pack, _ = waiting(guarded)
    at_theatre(guarded, pack)
    override(guarded, pack)
    assert guarded.scan("theatre-1", "=27490")["headline"] == "That PIN did not fit."
    assert not guarded.facts("counted")
    guarded.scan("theatre-1", "=10")
    assert guarded.facts("counted")[0].data["found"] == 10


def test_a_confirmation_after_a_day_says_that_it_was_late(guarded):
    pack, _ = waiting(guarded)
    at_theatre(guarded, pack)
    override(guarded, pack)
    guarded.at += CONFIRM_WITHIN + timedelta(minutes=1)
    guarded.act("confirm override", by=SURGEON, pack=pack)
    assert guarded.facts("override_confirmed")[0].data["late"] is True


def test_only_the_surgeon_who_overrode_confirms(guarded):
    pack, _ = waiting(guarded)
    at_theatre(guarded, pack)
    override(guarded, pack)
    assert guarded.act("confirm override", by=NURSE, pack=pack)["rule"] == "not_your_role"
    other = badge_code("K7", 61).text
    guarded.act("enrol staff", badge=other, roles=["surgeon"], may_release=False)
    assert guarded.act("confirm override", by=other, pack=pack)["rule"] == "nothing_to_confirm"


def test_no_pin_is_ever_written_down(on_disk):
    _, load, _ = ask_to_release(guard(on_disk))
    for digit in PIN:
        on_disk.scan("office-1", digit)
    on_disk.scan("office-1", "DONE")
    assert on_disk.facts("released")
    on_disk.scans("office-1", load, "FAIL", "=a reason", "=999888")
    with sqlite3.connect(on_disk.path) as db:
        text = "\n".join(db.iterdump())
    assert load in text
    assert PIN not in text
    assert "999888" not in text
