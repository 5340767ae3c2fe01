"""The client: sends what waits in the outbox, in order, and says what the service answered."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import httpx

from scanner.outbox import Outbox, Waiting

NOT_CHECKED = "not checked"
Clock = Callable[[], datetime]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is said of a scan: go, ask, stop, or not checked when the service gave no answer. No answer is not a go."""

    verdict: str
    headline: str
    detail: str = ""
    next: str = ""
    rule: str | None = None


NO_ANSWER = Verdict(
    NOT_CHECKED, "Not checked: the service does not answer.", "The scan waits here and is sent when it does.",
    "Follow the paper rule.",
)  # fmt: skip


NOT_LET_IN = Verdict(
    NOT_CHECKED, "Not checked: the service does not let this scanner in.", "The scan waits here until it does.",
    "Ask a manager for a one-time code, and enrol the scanner with it.",
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

    def __init__(
        self, url: str, outbox: Outbox, clock: Clock, timeout_s: float = 3.0, token: str | None = None
    ) -> None:
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        self._http = httpx.Client(base_url=url, timeout=timeout_s, headers=headers)
        self._outbox = outbox
        self._clock = clock
        self.answered = 0

    def scan(self, scan: dict[str, Any]) -> Verdict:
        """Keep a scan, send all that waits in order, and give this one's verdict."""
        mine = self._outbox.put(scan)
        return self.send_waiting().get(mine.number, NO_ANSWER)

    def send_waiting(self) -> dict[int, Verdict]:
        """Send in order until one gets no answer. The verdicts by number in the outbox."""
        found: dict[int, Verdict] = {}
        for one in self._outbox.waiting():
            verdict = self._send(one)
            if verdict is None:
                break
            found[one.number] = verdict
            if verdict is NOT_LET_IN:
                break
        return found

    def _send(self, one: Waiting) -> Verdict | None:
        body = one.scan | {"sent_at": self._clock().isoformat()}
        try:
            answer = self._http.post("/api/scans", json=body)
            found = answer.json() if answer.content else {}
        except (httpx.HTTPError, ValueError):
            return None
        if answer.status_code == httpx.codes.OK and found.get("verdict") in {"go", "ask", "stop"}:
            self._outbox.done(one)
            self.answered += 1
            return Verdict(
                found["verdict"],
                found.get("headline", ""),
                found.get("detail", ""),
                found.get("next", ""),
                found.get("rule"),
            )
        if answer.status_code in {401, 403}:
            return NOT_LET_IN
        if 400 <= answer.status_code < 500 and answer.status_code not in {408, 429}:
            why = str(found.get("detail", answer.status_code))
            self._outbox.set_aside(one, why)
            return Verdict(NOT_CHECKED, "Not checked: the service cannot take this scan.", why, "Tell the office.")
        return None

    def close(self) -> None:
        self._http.close()
