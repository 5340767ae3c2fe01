"""The doors: signing in with badge and PIN, devices enrolled with a one-time code, and what is locked out.

Everything is kept beside the ledger, in its table `access`, so that it holds for every service on that ledger and
through a restart. A try is counted before its PIN is looked at: no number of tries at once gets past the limit.
"""

import json
import os
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from argon2 import PasswordHasher

from service.access.secrets import check_pin, digest, new_code, new_token, right_pin, said, same
from service.access.who import Who
from service.custody.facts import moment, stamp
from service.custody.rules.roles import roles_of
from service.ledger.batch import Batch
from service.ledger.ids import uuid7
from service.ledger.store import LedgerError, Reader
from service.stations.desk import Desk
from service.stations.writer import Done

TRIES = {"badge": 5, "address": 30}
"""Wrong PINs in a row before a badge, or an address, is locked out.

NIST SP 800-63B 5.2.2 allows at most 100 (from memory)."""
LOCKED = timedelta(minutes=15)
LONGEST_SESSION = timedelta(hours=12)
"""NIST SP 800-63B 4.2.3: sign in again at least every 12 hours (from memory)."""
SEEN_EVERY = timedelta(minutes=1)
LONGEST_TOKEN = 200
REMEMBERED_S = 1.0
"""How long a look at the ledger is believed: another service's sign-out is heard of within this time."""
DEVICE_CODE = timedelta(minutes=15)
PIN_LINK = timedelta(hours=24)
ANYWHERE = "any"


class Shut(Exception):  # noqa: N818  (a door is shut)
    """Not let in: one line that says why and what to do."""


class LockedOut(Shut):
    """Too many wrong tries."""


@dataclass(frozen=True, slots=True)
class Enrolled:
    """A device and its token, told once."""

    device: str
    token: str


class Doors:
    """Every way in, over a started desk. Its methods block: call them from a thread."""

    def __init__(self, desk: Desk, hasher: PasswordHasher | None = None) -> None:
        self._desk = desk
        self._hasher = hasher or PasswordHasher()
        self._known: dict[str, tuple[float, Who]] = {}

    # Who asks

    def who(self, token: str | None) -> Who | None:
        """Who holds this token; None when nobody does any more."""
        if not token or len(token) > LONGEST_TOKEN:
            return None
        with self._desk.ledger.reading() as reader:
            who = self._device(reader, token) if "." in token else self._person(reader, token)
        if who:
            self._known[token] = (time.monotonic() + REMEMBERED_S, who)
        return who

    def remembered(self, token: str) -> Who | None:
        """Who held this token a moment ago; None says that it has to be looked up. It never waits."""
        found = self._known.get(token)
        return found[1] if found and found[0] > time.monotonic() else None

    def _device(self, reader: Reader, token: str) -> Who | None:
        name, _, secret = token.partition(".")
        kept = _read(reader.access("device", name))
        if kept is None or kept["revoked"] or not same(secret, kept["secret"]):
            return None
        return Who(device=name, stations=frozenset(kept["stations"]) - {ANYWHERE})

    def _person(self, reader: Reader, token: str) -> Who | None:
        kept = _read(reader.access("session", digest(token)))
        if kept is None:
            return None
        now = self._desk.clock()
        idle = timedelta(minutes=self._desk.practice.session_minutes)
        if now - moment(kept["seen"]) > idle or now - moment(kept["began"]) > LONGEST_SESSION:
            return None
        roles = roles_of(reader.state, kept["badge"])
        if not roles:
            return None
        if now - moment(kept["seen"]) > SEEN_EVERY:
            with suppress(LedgerError):  # whoever looks may look on, though the ledger cannot be written
                self._write(lambda batch: _keep(batch, "session", digest(token), kept | {"seen": stamp(now)}))
        return Who(badge=kept["badge"], roles=roles)

    # Badge and PIN

    def sign_in(self, badge: str, pin: str, address: str) -> str:
        """A session's token. Raises Shut when the badge and PIN do not fit, LockedOut after too many tries."""
        self.prove(badge, pin, address, what="signed in")
        token, now = new_token(), stamp(self._desk.clock())
        body = {"badge": badge, "began": now, "seen": now, "address": address}
        self._write(lambda batch: _keep(batch, "session", digest(token), body))
        return token

    def prove(self, badge: str, pin: str, address: str, what: str = "PIN given") -> None:
        """That the badge's owner is here. Raises Shut or LockedOut; a try is written down until the badge is locked."""
        self._count(badge, address)
        with self._desk.ledger.reading() as reader:
            kept = _read(reader.access("pin", badge))
            works_here = bool(roles_of(reader.state, badge))
        right = right_pin(self._hasher, kept["hash"] if kept else _nobodys(self._hasher), pin)
        if not (right and kept and works_here):
            self._write(lambda batch: self._note(batch, badge, address, "wrong PIN"))
            raise Shut("this badge and PIN do not fit together: try again, or ask a manager for a new link")

        def done(batch: Batch) -> None:
            batch.drop_access("tries", f"badge {badge}")
            self._forgive(batch, address)
            self._note(batch, badge, address, what)

        self._write(done)

    def why_not(self, badge: str, pin: str, address: str) -> str | None:
        """As `prove`, for a station: what there is to say against this PIN, None when it is the badge's."""
        try:
            self.prove(badge, pin, address)
        except (Shut, LedgerError) as error:
            return str(error)
        return None

    def _count(self, badge: str, address: str) -> None:
        """One more try for this badge and address, before its PIN is looked at; nothing is written of a locked one."""
        now = self._desk.clock()
        locked: list[str] = []
        with self._desk.ledger.reading() as reader:
            kept = [reader.access("tries", key) for key in (f"badge {badge}", f"address {address}")]
        self._raise_if_locked([_read(tries) for tries in kept])

        def count(batch: Batch) -> None:
            locked.clear()
            for kind, value in (("badge", badge), ("address", address)):
                tries = _read(batch.access("tries", f"{kind} {value}")) or {"count": 0, "until": None}
                if tries["until"] and moment(tries["until"]) > now:
                    locked.append(tries["until"])
                    continue
                over = bool(tries["until"])
                tries = {"count": 1 if over else tries["count"] + 1, "until": None}
                if tries["count"] >= TRIES[kind]:
                    tries["until"] = stamp(now + LOCKED)
                    self._note(batch, badge, address, f"{kind} locked")
                _keep(batch, "tries", f"{kind} {value}", tries)

        self._write(count)
        self._raise_if_locked([{"until": until} for until in locked])

    def _raise_if_locked(self, tries: list[dict[str, Any] | None]) -> None:
        locked = [one["until"] for one in tries if one and one["until"] and moment(one["until"]) > self._desk.clock()]
        if locked:
            until = moment(max(locked)).astimezone(self._desk.practice.zone)
            raise LockedOut(f"too many wrong PINs: locked until {until:%H:%M}. A manager's new link opens it sooner")

    def _forgive(self, batch: Batch, address: str) -> None:
        tries = _read(batch.access("tries", f"address {address}"))
        if tries:
            _keep(batch, "tries", f"address {address}", {"count": max(0, tries["count"] - 1), "until": None})

    def sign_out(self, token: str) -> None:
        self._write(lambda batch: batch.drop_access("session", digest(token)))

    def sign_out_everywhere(self, badge: str) -> int:
        """End every session of this badge; how many there were."""
        with self._desk.ledger.reading() as reader:
            mine = [key for key, body in reader.accesses("session") if json.loads(body)["badge"] == badge]

        def end(batch: Batch) -> None:
            for key in mine:
                batch.drop_access("session", key)

        self._write(end)
        return len(mine)

    # One-time codes

    def pin_link(self, badge: str) -> str:
        """A one-time code with which the badge's owner chooses a PIN, within a day. It ends a lock-out."""
        return self._ticket({"for": "pin", "badge": badge}, PIN_LINK, f"badge {badge}")

    def device_code(self, name: str, stations: list[str], by: str | None) -> str:
        """A one-time code with which a tablet or scanner is enrolled, within a quarter of an hour."""
        return self._ticket({"for": "device", "name": name, "stations": stations, "by": by}, DEVICE_CODE)

    def _ticket(self, about: dict[str, Any], lasts: timedelta, unlocks: str = "") -> str:
        code = new_code()
        body = about | {"until": stamp(self._desk.clock() + lasts)}

        def keep(batch: Batch) -> None:
            _keep(batch, "ticket", digest(code), body)
            if unlocks:
                batch.drop_access("tries", unlocks)

        self._write(keep)
        return code

    def _redeem(self, code: str, kind: str, then: Callable[[Batch, dict[str, Any]], Any]) -> Any:
        """Use up a one-time code in the same transaction as what it allows."""
        key, now = digest(said(code)), self._desk.clock()
        given: list[Any] = []

        def use(batch: Batch) -> None:
            given.clear()
            ticket = _read(batch.access("ticket", key))
            if ticket and ticket["for"] == kind and moment(ticket["until"]) > now:
                batch.drop_access("ticket", key)
                given.append(then(batch, ticket))

        self._write(use)
        if not given:
            raise Shut("this one-time code is not in use: it was used, is too old, or was mistyped. Ask for a new one")
        return given[0]

    def choose_pin(self, code: str, pin: str, address: str) -> str:
        """The badge whose PIN this is from now on. Raises WeakPinError, or Shut. Its older sessions end."""
        check_pin(pin)
        hashed = self._hasher.hash(pin)

        def keep(batch: Batch, ticket: dict[str, Any]) -> str:
            badge = str(ticket["badge"])
            _keep(batch, "pin", badge, {"hash": hashed, "since": stamp(self._desk.clock())})
            self._note(batch, badge, address, "PIN chosen")
            return badge

        badge: str = self._redeem(code, "pin", keep)
        self.sign_out_everywhere(badge)
        return badge

    def enrol(self, code: str, address: str) -> Enrolled:
        """Enrol the device that was given this code: its token is told once, here."""
        secret = new_token()

        def keep(batch: Batch, ticket: dict[str, Any]) -> str:
            name = f"D{uuid7(batch.noted_at_ms, os.urandom(10)).replace('-', '')[-12:]}"
            body = {key: ticket[key] for key in ("name", "stations", "by")}
            body |= {"secret": digest(secret), "since": batch.noted_at, "revoked": None}
            _keep(batch, "device", name, body)
            self._note(batch, None, address, f"device enrolled: {name}")
            return name

        name: str = self._redeem(code, "device", keep)
        return Enrolled(name, f"{name}.{secret}")

    def revoke(self, device: str, by: str | None) -> None:
        """Let this device in no more. Raises Shut when there is none of that name."""
        found: list[bool] = []

        def end(batch: Batch) -> None:
            found.clear()
            kept = _read(batch.access("device", device))
            if kept:
                found.append(True)
                _keep(batch, "device", device, kept | {"revoked": batch.noted_at})
                self._note(batch, by, "", f"device revoked: {device}")

        self._write(end)
        if not found:
            raise Shut(f"no device is enrolled as {device[:40]}: look at the list of devices")

    # What is kept, for a manager's eyes

    def devices(self) -> list[dict[str, Any]]:
        with self._desk.ledger.reading() as reader:
            return devices(reader)

    def sign_ins(self) -> list[dict[str, Any]]:
        with self._desk.ledger.reading() as reader:
            return sign_ins(reader)

    def has_pin(self, badge: str) -> bool:
        with self._desk.ledger.reading() as reader:
            return reader.access("pin", badge) is not None

    # How it is kept

    def _note(self, batch: Batch, badge: str | None, address: str, what: str) -> None:
        key = uuid7(batch.noted_at_ms, os.urandom(10))
        _keep(batch, "sign-in", key, {"at": batch.noted_at, "badge": badge, "address": address, "what": what})

    def _write(self, does: Callable[[Batch], None]) -> None:
        """Do it in the one writer's next commit, and wait until that is durable."""

        def work(batch: Batch, _part: object) -> Done:
            does(batch)
            return Done({})

        self._desk.probe(work).result(30)
        self._known.clear()


def devices(reader: Reader) -> list[dict[str, Any]]:
    """Every device that was enrolled, without its secret."""
    rows = [{"device": key} | json.loads(body) for key, body in reader.accesses("device")]
    return [{key: value for key, value in row.items() if key != "secret"} for row in rows]


def sign_ins(reader: Reader, most: int = 200) -> list[dict[str, Any]]:
    """Sign-ins and what went wrong at the doors, the latest first."""
    return [json.loads(body) for _, body in reader.accesses("sign-in")[: -most - 1 : -1]]


def _keep(batch: Batch, kind: str, key: str, body: dict[str, Any]) -> None:
    batch.keep_access(kind, key, json.dumps(body, ensure_ascii=False))


def _read(body: str | None) -> dict[str, Any] | None:
    found: dict[str, Any] | None = json.loads(body) if body else None
    return found


_NOBODYS: dict[tuple[int, int], str] = {}


def _nobodys(hasher: PasswordHasher) -> str:
    """A hash of no PIN: an unknown badge takes as long to refuse as a known one."""
    key = (hasher.time_cost, hasher.memory_cost)
    if key not in _NOBODYS:
        _NOBODYS[key] = hasher.hash(new_token())
    return _NOBODYS[key]
