"""The client: sends what waits in the outbox, in order, and says what the service answered."""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx

from scanner.outbox import NEARLY, Outbox, OutboxError, Waiting

NOT_CHECKED = "not checked"
NOT_TAKEN = "not taken"
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.5, 30.0
"""Seconds between attempts to reach a service that gave no answer: twice as long each time."""
_HUNG_S = 0.5
"""An attempt that took longer is not repeated for each new scan: the next label would pass unseen meanwhile."""
_SET_S = 1.0
"""A clock that has run on by this much more or less than time has passed was set."""
_AT_ONCE = 100
"""Scans sent before the scanner looks at its source again."""
Clock = Callable[[], datetime]
Uptime = Callable[[], tuple[str, float]]


def uptime() -> tuple[str, float]:
    """Which start of this computer this is, and the seconds since; sleep counts, setting the clock does not."""
    return Path("/proc/sys/kernel/random/boot_id").read_text("ascii").strip(), time.clock_gettime(time.CLOCK_BOOTTIME)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is said of a scan: go, ask, stop, not checked when the service gave no answer, not taken when not even kept.

    No answer is not a go. `late_s`: the seconds since the scan was made, for an answer that came after its time.
    """

    verdict: str
    headline: str
    detail: str = ""
    next: str = ""
    rule: str | None = None
    late_s: float | None = None


NO_ANSWER = Verdict(
    NOT_CHECKED, "Not checked: the service does not answer.", "The scan waits here and is sent when it does.",
    "Follow the paper rule.",
)  # fmt: skip


NOT_LET_IN = Verdict(
    NOT_CHECKED, "Not checked: the service does not let this scanner in.", "The scan waits here until it does.",
    "Ask a manager for a one-time code, and enrol the scanner with it.",
)  # fmt: skip


IN_LINE = Verdict(
    NOT_CHECKED, "Not checked yet: earlier scans are sent first.", "The scan waits here and is sent after them.",
    "Follow the paper rule.",
)  # fmt: skip


class EnrolError(Exception):
    """A scanner that could not be enrolled: one line that says why and what to do."""


def enrol(url: str, code: str) -> str:
    """The token of this scanner, for the one-time code a manager made. Raises EnrolError."""
    try:
        answer = httpx.post(f"{url}/api/devices/claim", json={"code": code}, timeout=10)
        found = answer.json()
    except (httpx.HTTPError, ValueError) as error:
        raise EnrolError(f"{url} does not answer as a Foldmark service ({error}): check --url") from error
    if answer.status_code != httpx.codes.OK:
        raise EnrolError(str(found.get("detail", answer.status_code)))
    return str(found["token"])


class Client:
    """Posts scans to one service."""

    def __init__(  # noqa: PLR0913  (a client has as many sides to it)
        self, url: str, outbox: Outbox, clock: Clock, timeout_s: float = 3.0, token: str | None = None, *,
        uptime: Uptime | None = None,
    ) -> None:  # fmt: skip
        """With `uptime`, a clock that was set while a scan waited does not change when the scan was made."""
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        self._http = httpx.Client(base_url=url, timeout=timeout_s, headers=headers)
        self._outbox = outbox
        self._clock, self._uptime = clock, uptime
        self._late: list[tuple[dict[str, Any], Verdict]] = []
        self._unsent = NO_ANSWER
        self._pause_s, self._rests_until, self._hung = 0.0, 0.0, False
        self._any = True
        self.answered = 0

    def scan(self, scan: dict[str, Any]) -> Verdict:
        """Keep a scan, send all that waits in order, and give this one's verdict. Raises OutboxError when not kept."""
        mine = self._outbox.put(scan, self._clocks())
        self._any = True
        if self._hung and self._rests():
            return NO_ANSWER
        return self.send_waiting(mine.number).get(mine.number, self._unsent)

    def tend(self) -> None:
        """Send what waits, if anything does and the pause since the last attempt is over. Call it often."""
        if self._any and not self._rests():
            self.send_waiting()

    def send_waiting(self, mine: int | None = None) -> dict[int, Verdict]:
        """Send in order until one gets no answer. The verdicts by number in the outbox.

        A station's scans keep their order; one that this scanner may not scan for holds up no other. Verdicts of
        scans other than `mine` came late: `take_late` tells of them.
        """
        found: dict[int, Verdict] = {}
        shut: set[Any] = set()
        waiting = self._outbox.waiting(_AT_ONCE)
        self._any, self._unsent = bool(waiting), IN_LINE
        for one in waiting:
            station = one.scan.get("station")
            if station in shut:
                continue
            verdict = self._send(one, late=one.number != mine)
            if verdict is None:
                self._unsent = NO_ANSWER
                return found
            found[one.number] = verdict
            if verdict is NOT_LET_IN:
                shut.add(station)
                self._unsent = NOT_LET_IN
        if shut:
            self._rest()
        else:
            self._pause_s, self._rests_until, self._hung = 0.0, 0.0, False
        return found

    def take_late(self) -> list[tuple[dict[str, Any], Verdict]]:
        """The scans answered late since this was asked, in order."""
        late, self._late = self._late, []
        return late

    def untold(self) -> list[tuple[dict[str, Any], Verdict]]:
        """What is kept for the next person who signs on: scans refused, and late answers that are no go."""
        refused = [(scan, self._aged(scan, _cannot_take(why))) for scan, why in self._outbox.refused()]
        return refused + [(scan, self._aged(scan, Verdict(**answer))) for scan, answer in self._outbox.late()]

    def told(self) -> None:
        """Somebody has been told of all that was untold."""
        self._outbox.told()

    def fills(self) -> str | None:
        """A warning, when the outbox is nearly full."""
        held, most = self._outbox.held(), self._outbox.most
        if held < NEARLY * most:
            return None
        return f"the outbox is nearly full, {held} of {most} scans: bring the service back, or no more can be taken"

    def _clocks(self) -> dict[str, Any] | None:
        if self._uptime is None:
            return None
        boot, seconds = self._uptime()
        return {"boot": boot, "s": seconds, "clock": self._clock().isoformat()}

    def _corrected(self, one: Waiting) -> Waiting:
        """The scan with its time moved by as much as this computer's clock was set since, where that can be told."""
        then, now = one.kept, self._clocks()
        if not then or not now or then["boot"] != now["boot"]:
            return one
        passed_s = (datetime.fromisoformat(now["clock"]) - datetime.fromisoformat(then["clock"])).total_seconds()
        set_by_s = passed_s - (now["s"] - then["s"])
        if abs(set_by_s) < _SET_S:
            return one
        seen = datetime.fromisoformat(one.scan["seen_at"]) + timedelta(seconds=set_by_s)
        return replace(one, scan=one.scan | {"seen_at": seen.isoformat()})

    def _send(self, one: Waiting, *, late: bool) -> Verdict | None:
        one = self._corrected(one)
        body = one.scan | {"sent_at": self._clock().isoformat()}
        began = time.monotonic()
        try:
            answer = self._http.post("/api/scans", json=body)
            found = answer.json() if answer.content else {}
        except (httpx.HTTPError, ValueError):
            self._rest(hung=time.monotonic() - began > _HUNG_S)
            return None
        if answer.status_code == httpx.codes.OK and found.get("verdict") in {"go", "ask", "stop"}:
            return self._answered(one, found, late=late)
        if answer.status_code in {401, 403}:
            return NOT_LET_IN
        if 400 <= answer.status_code < 500 and answer.status_code not in {408, 429}:
            return self._refused(one, str(found.get("detail", answer.status_code)), late=late)
        self._rest(_seconds(answer.headers.get("retry-after")))
        return None

    def _answered(self, one: Waiting, found: dict[str, Any], *, late: bool) -> Verdict:
        told = {key: found.get(key) or "" for key in ("verdict", "headline", "detail", "next")}
        verdict = Verdict(found["verdict"], told["headline"], told["detail"], told["next"], found.get("rule"))
        self.answered += 1
        if late:
            self._late.append((one.scan, self._aged(one.scan, verdict)))
        self._keep(lambda: self._outbox.done(one, told if late and verdict.verdict != "go" else None))
        return verdict

    def _refused(self, one: Waiting, why: str, *, late: bool) -> Verdict:
        verdict = _cannot_take(why)
        if late:
            self._late.append((one.scan, self._aged(one.scan, verdict)))
        self._keep(lambda: self._outbox.set_aside(one, why))
        return verdict

    @staticmethod
    def _keep(write: Callable[[], None]) -> None:
        """Note an answer. If that fails the scan is sent again: the same id gets the same answer."""
        try:
            write()
        except OutboxError:
            return

    def _aged(self, scan: dict[str, Any], verdict: Verdict) -> Verdict:
        seen = datetime.fromisoformat(scan["seen_at"]) if "seen_at" in scan else self._clock()
        return replace(verdict, late_s=max(0.0, (self._clock() - seen).total_seconds()))

    def _rests(self) -> bool:
        return time.monotonic() < self._rests_until

    def _rest(self, at_least_s: float = 0.0, *, hung: bool = False) -> None:
        self._pause_s = min(LONGEST_PAUSE_S, max(FIRST_PAUSE_S, 2 * self._pause_s))
        self._rests_until = time.monotonic() + max(self._pause_s, at_least_s)
        self._hung = hung

    def close(self) -> None:
        self._http.close()


def _cannot_take(why: str) -> Verdict:
    return Verdict(NOT_CHECKED, "Not checked: the service cannot take this scan.", why, "Tell the office.")


def _seconds(text: str | None) -> float:
    """The seconds of a Retry-After header (RFC 9110, 10.2.3), a minute at most; a date, or none, is 0."""
    return min(60.0, float(text)) if text and text.isdecimal() else 0.0
