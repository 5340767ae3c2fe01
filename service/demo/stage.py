"""Playing the diary: a real service on a loopback port, real HTTP, and for one day a real camera feed."""

import os
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import uvicorn

from service.access.doors import ANYWHERE, Doors
from service.access.secrets import new_pin
from service.api.app import make_app
from service.api.listen import free_port
from service.custody.practice import Practice, ShelfLife
from service.demo import tarn_bridge as tb
from service.demo.cycles import dated, heating_s, made_cycle
from service.demo.diary import Step
from service.ledger.batch import Batch
from service.ledger.ids import uuid7
from service.ledger.keys import make_key
from service.ledger.sqlite import SqliteLedger, create
from service.pages.routes import add_pages
from service.stations.desk import Desk, Printer
from service.steam.programme import programme

Say = Callable[[str], None]


class DemoError(Exception):
    """The demo went another way than its diary: what was scanned, what was expected, what came."""


class DemoClock:
    """The service's clock. It stands where the diary puts it; let go, it runs on from there."""

    def __init__(self, start: datetime) -> None:
        self._base = start
        self._let_go_at: float | None = None

    def __call__(self) -> datetime:
        if self._let_go_at is None:
            return self._base
        return self._base + timedelta(seconds=time.monotonic() - self._let_go_at)

    def put(self, moment: datetime) -> None:
        self._base = max(self._base, moment)

    def let_go(self) -> None:
        self._let_go_at = time.monotonic()


def choices(practice: Practice) -> Practice:
    """Tarn Bridge's choices: a quarantine shelf, two weeks for double cotton wrap, and strict recalls."""
    lives = dict(practice.shelf_lives)
    for wrap, days in tb.SHELF_DAYS.items():
        lives[wrap] = ShelfLife(days, tb.SHELF_SOURCE)
    return replace(
        practice,
        site=tb.SITE,
        name=tb.NAME,
        quarantine_shelves=(tb.QUARANTINE,),
        shelf_lives=lives,
        recall_policy="strict",
    )


HERE = "127.0.0.1"


class Stage:
    """The running service behind closed doors, and a way to scan and to post at it as the people of Tarn Bridge."""

    def __init__(self, ledger: Path, practice: Practice, start: datetime, printer: Printer | None = None) -> None:
        create(ledger)
        self.clock = DemoClock(start)
        self.practice = choices(practice)
        desk = Desk(SqliteLedger(ledger, self.practice), self.practice, self.clock, printer).start()
        key = make_key(ledger.with_name(f"{ledger.stem}-{tb.SITE}.key"))
        desk.act(self.new_id(), "open site", by=None, body={}).result(30)
        desk.act(self.new_id(), "name key", by=None, body={"key": key.public}).result(30)
        desk.act(self.new_id(), "enrol staff", by=None, body=_first_manager(), beside=_name_the_manager).result(30)
        self.desk, self.key = desk, key
        self.doors = Doors(desk)
        self.pins: dict[str, str] = {}
        """Badge to PIN, made anew each time the demo is played."""
        self._tokens: dict[str, str] = {}
        self.scanner = self.doors.enrol(
            self.doors.device_code("The demo's scanners", [ANYWHERE], tb.MANAGER), HERE
        ).token
        bound = free_port("127.0.0.1", 0)
        self.url = f"http://127.0.0.1:{bound.getsockname()[1]}"
        config = uvicorn.Config(
            make_app(desk, add_pages, None, self.doors), log_config=None, access_log=False, timeout_graceful_shutdown=2
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [bound]}, daemon=True)
        self._thread.start()
        self._http = httpx.Client(base_url=self.url, timeout=30)
        self._rng = np.random.default_rng(20260302)
        self.posted = 0

    def new_id(self) -> str:
        return uuid7(int(self.clock().timestamp() * 1000), os.urandom(10))

    def close(self) -> None:
        self._http.close()
        self._server.should_exit = True
        self._thread.join(15)

    def wait(self) -> None:
        """Serve until somebody stops it."""
        self._thread.join()

    def play(self, step: Step) -> dict[str, Any]:
        """Post one step. Raises DemoError when the answer is not the one the diary expects."""
        self.clock.put(step.at.astimezone(UTC))
        answer = self._scan(step) if step.code else self._post(step)
        self.posted += 1
        return check(step, answer)

    def _scan(self, step: Step) -> dict[str, Any]:
        return self._answer(step, self.scan(step.station, step.code, step.at.isoformat()))

    def scan(self, station: str, code: str, seen_at: str | None = None) -> httpx.Response:
        """Show a code to a station's scanner."""
        body = {"id": self.new_id(), "station": station, "code": code, "seen_at": seen_at}
        return self._http.post("/api/scans", json=body, headers=_bearer(self.scanner))

    def _post(self, step: Step) -> dict[str, Any]:
        by = step.body["by"]
        if step.cycle:
            started = self.get(step.path.removesuffix("/cycle"))["started_at"]
            made = made_cycle(programme(step.cycle), self._rng, heating_s=heating_s(step.at.date(), self._rng))
            log = dated(made, started)
            query = {"id": self.new_id(), "programme": step.cycle}
            return self._answer(step, self._as(by, "POST", step.path, params=query, content=log))
        body = {"id": self.new_id(), "pin": self.pin(by)} | step.body
        return self._answer(step, self._as(by, "POST", step.path, json=body))

    def get(self, path: str, **query: str) -> Any:
        return self._as(tb.MANAGER, "GET", path, params=query).raise_for_status().json()

    def pin(self, badge: str) -> str:
        """This person's PIN; whoever has none yet chooses one, with a one-time link as anybody does."""
        if badge not in self.pins:
            self.pins[badge] = new_pin()
            self.doors.choose_pin(self.doors.pin_link(badge), self.pins[badge], HERE)
        return self.pins[badge]

    def _as(self, badge: str, method: str, path: str, **request: Any) -> httpx.Response:
        """A request of somebody who signs in when the session has ended, as it does overnight."""
        if badge in self._tokens:
            answer = self._http.request(method, path, headers=_bearer(self._tokens[badge]), **request)
            if answer.status_code != httpx.codes.UNAUTHORIZED:
                return answer
        self._tokens[badge] = self.session(badge)
        return self._http.request(method, path, headers=_bearer(self._tokens[badge]), **request)

    def session(self, badge: str) -> str:
        """The token of a new session of this person's."""
        entered = self._http.post("/api/session", json={"badge": badge, "pin": self.pin(badge)}).raise_for_status()
        token = entered.cookies["foldmark_session"]
        self._http.cookies.clear()
        return token

    def _answer(self, step: Step, response: httpx.Response) -> dict[str, Any]:
        if response.status_code != httpx.codes.OK:
            raise DemoError(
                f"{step.path or step.code} at {step.at:%d %B %H:%M}: {response.status_code} {response.text}"
            )
        found: dict[str, Any] = response.json()
        return found


def _first_manager() -> dict[str, Any]:
    """The manager, made at the machine itself: everybody else is enrolled by the manager."""
    badge, _, roles, may_release = next(one for one in tb.STAFF if one[0] == tb.MANAGER)
    return {"badge": badge, "roles": roles, "may_release": may_release}


def _name_the_manager(batch: Batch, _badge: str | None) -> None:
    name = next(name for badge, name, _, _ in tb.STAFF if badge == tb.MANAGER)
    batch.keep_name(tb.MANAGER, "person", name, None)


def _bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


def check(step: Step, answer: dict[str, Any]) -> dict[str, Any]:
    """`answer`, when it is the verdict the diary expects of `step`; DemoError otherwise."""
    if answer["verdict"] != step.expect:
        raise DemoError(
            f"{step.path or step.code} at {step.station}, {step.at:%d %B %H:%M}: expected {step.expect}, "
            f"got {answer['verdict']}: {answer['headline']} {answer['detail']}"
        )
    return answer
