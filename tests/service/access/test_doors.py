"""The doors: badge and PIN, sessions, one-time codes, devices, and who is locked out."""

import json
import threading

import pytest

from service.access.doors import LONGEST_SESSION, TRIES, Doors, LockedOut, Shut
from service.access.secrets import LETTERS, WeakPinError, check_pin, new_code, said
from tests.entry import HERE, PIN, QUICK, Entry
from tests.practice import MANAGER, NURSE, SURGEON, TECHNICIAN


@pytest.fixture
def entry(bridge):
    return Entry(bridge.desk)


def test_a_badge_and_its_pin_open_a_session_and_signing_out_ends_it(entry):
    token = entry.person(NURSE)
    who = entry.doors.who(token)
    assert (who.badge, who.roles) == (NURSE, {"nurse"})
    assert who.may("release")
    assert not who.may("enrol staff")
    entry.doors.sign_out(token)
    assert entry.doors.who(token) is None


@pytest.mark.parametrize("token", [None, "", "x", "D1.x", "D.", ".", "D" * 5000, "Ωmega", "a\x00b"])
def test_what_is_no_token_lets_nobody_in(entry, token):
    assert entry.doors.who(token) is None


def test_a_wrong_pin_an_unknown_badge_and_one_without_a_pin_are_refused_alike(entry):
    entry.person(NURSE)
    said_to = set()
    for badge, pin in ((NURSE, "111112"), ("B-K7-099-X", PIN), (SURGEON, PIN), (NURSE, ""), (NURSE, "x" * 10_000)):
        with pytest.raises(Shut) as refused:
            entry.doors.sign_in(badge, pin, HERE)
        said_to.add(str(refused.value))
    assert len(said_to) == 1


def test_nobody_has_a_pin_until_they_choose_one(entry):
    assert not entry.doors.has_pin(MANAGER)
    with pytest.raises(Shut):
        entry.doors.sign_in(MANAGER, "", HERE)


@pytest.mark.parametrize(
    "pin", ["", "12345", "123456", "987654", "000000", "112112", "12a456", "1234567890123", "१२३४५६"]
)
def test_a_pin_that_anyone_would_try_is_not_taken(pin):
    with pytest.raises(WeakPinError):
        check_pin(pin)


def test_a_badge_is_locked_after_so_many_wrong_pins_whatever_address_they_come_from(entry, bridge):
    """A thousand tries from a thousand addresses: none is looked at after the fifth, and the right PIN is not either."""
    entry.person(NURSE)
    outcomes = []
    for number in range(1000):
        with pytest.raises(Shut) as refused:
            entry.doors.sign_in(NURSE, f"{number + 300000}", f"10.0.{number // 250}.{number % 250}")
        outcomes.append(isinstance(refused.value, LockedOut))
    assert outcomes == [False] * TRIES["badge"] + [True] * (1000 - TRIES["badge"])
    with pytest.raises(LockedOut, match="locked until 08:15"):
        entry.doors.sign_in(NURSE, PIN, "10.9.9.9")
    bridge.wait(16)
    assert entry.doors.sign_in(NURSE, PIN, HERE)


def test_tries_at_once_get_no_further_than_tries_in_a_row(entry):
    entry.person(NURSE)
    outcomes = []

    def attempt(number):
        try:
            entry.doors.sign_in(NURSE, f"{number + 300000}", HERE)
        except Shut as error:
            outcomes.append(isinstance(error, LockedOut))

    threads = [threading.Thread(target=attempt, args=(n,)) for n in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert outcomes.count(False) == TRIES["badge"]


def test_an_address_that_tries_many_badges_is_locked_and_the_badges_are_not(entry):
    entry.person(NURSE)
    for number in range(TRIES["address"]):
        with pytest.raises(Shut):
            entry.doors.sign_in(f"B-K7-{number:03d}-X", "300000", "10.0.0.1")
    with pytest.raises(LockedOut):
        entry.doors.sign_in(NURSE, PIN, "10.0.0.1")
    assert entry.doors.sign_in(NURSE, PIN, "10.0.0.2")


def test_a_managers_link_ends_a_lock_out_works_once_and_ends_older_sessions(entry, bridge):
    old = entry.person(NURSE)
    for _ in range(TRIES["badge"]):
        with pytest.raises(Shut):
            entry.doors.prove(NURSE, "300000", HERE)
    link = entry.doors.pin_link(NURSE)
    assert entry.doors.choose_pin(link.lower().replace("-", " "), "813507", HERE) == NURSE
    assert entry.doors.who(old) is None
    assert entry.doors.sign_in(NURSE, "813507", HERE)
    with pytest.raises(Shut, match="not in use"):
        entry.doors.choose_pin(link, "813508", HERE)
    late = entry.doors.pin_link(NURSE)
    bridge.wait(24 * 60 + 1)
    with pytest.raises(Shut, match="too old"):
        entry.doors.choose_pin(late, "813509", HERE)


def test_a_session_ends_when_nobody_used_it_and_after_half_a_day_in_any_case(entry, bridge):
    token = entry.person(NURSE)
    bridge.wait(29)
    assert Doors(bridge.desk, QUICK).who(token)
    bridge.wait(29)
    assert Doors(bridge.desk, QUICK).who(token), "it was used in between"
    bridge.wait(31)
    assert Doors(bridge.desk, QUICK).who(token) is None
    token = entry.person(NURSE)
    for _ in range(int(LONGEST_SESSION.total_seconds() / 60 / 25)):
        bridge.wait(25)
        Doors(bridge.desk, QUICK).who(token)
    bridge.wait(21)
    assert Doors(bridge.desk, QUICK).who(token) is None


def test_somebody_who_has_left_is_out_at_once_and_a_sign_out_everywhere_ends_every_session(entry, bridge):
    first, second, other = entry.person(TECHNICIAN), entry.person(TECHNICIAN), entry.person(NURSE)
    assert entry.doors.sign_out_everywhere(TECHNICIAN) == 2
    assert [entry.doors.who(token) is None for token in (first, second, other)] == [True, True, False]
    bridge.act("staff left", badge=NURSE)
    assert Doors(bridge.desk, QUICK).who(other) is None
    with pytest.raises(Shut):
        entry.doors.sign_in(NURSE, PIN, HERE)


def test_a_device_scans_at_its_own_kind_of_station_until_it_is_revoked(entry):
    token = entry.device("theatre")
    who = entry.doors.who(token)
    assert who.may_stand_at("theatre-2")
    assert not who.may_stand_at("wash-1")
    assert not who.may("look")
    assert not who.may("release")
    entry.doors.revoke(who.device, MANAGER)
    assert entry.doors.who(token) is None
    with pytest.raises(Shut, match="no device"):
        entry.doors.revoke("Dnone", MANAGER)


def test_a_device_code_is_of_no_use_for_a_pin_nor_after_a_quarter_of_an_hour(entry, bridge):
    code = entry.doors.device_code("Tablet", ["any"], MANAGER)
    with pytest.raises(Shut):
        entry.doors.choose_pin(code, PIN, HERE)
    bridge.wait(16)
    with pytest.raises(Shut):
        entry.doors.enrol(code, HERE)


def test_nothing_kept_can_be_turned_back_into_a_secret(entry, bridge):
    session, device, link = entry.person(NURSE), entry.device(), entry.doors.pin_link(NURSE)
    with bridge.desk.ledger.reading() as reader:
        kept = json.dumps([list(row) for row in reader.kept("access")])
    for secret in (PIN, session, device.partition(".")[2], link):
        assert secret not in kept
    assert "$argon2id$" in kept


def test_every_try_at_the_door_is_written_down_with_its_time_and_address(entry, bridge):
    link = entry.doors.pin_link(NURSE)
    entry.doors.choose_pin(link, PIN, HERE)
    bridge.wait(1)
    entry.person(NURSE)
    bridge.wait(1)
    with pytest.raises(Shut):
        entry.doors.sign_in(NURSE, "300000", "10.0.0.7")
    latest = entry.doors.sign_ins()
    assert [(row["what"], row["badge"], row["address"]) for row in latest[:3]] == [
        ("wrong PIN", NURSE, "10.0.0.7"), ("signed in", NURSE, HERE), ("PIN chosen", NURSE, HERE),
    ]  # fmt: skip
    assert all(row["at"].startswith("2026-03-04T") for row in latest)


def test_a_one_time_code_can_be_typed_any_way():
    code = new_code()
    assert len(code) == 14
    assert set(code) <= {*LETTERS, "-"}
    assert said(code.lower().replace("-", "")) == said(f" {code} ") == code
