"""How much one client may ask at once: a bucket of requests for each, which fills again as time goes on."""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

from starlette.types import Scope

from service.api.problems import Problem

SAVED_S = 20
"""Seconds of its pace that a client may use at once: what a scanner kept through an outage goes in one piece."""
MOST_CLIENTS = 10_000
"""How many clients are kept in mind. Beyond it, those are forgotten that have all their bucket again."""


class Pace:
    """So many requests a second for each client, by whatever name it is known."""

    def __init__(self, a_second: int, clock: Callable[[], float] = time.monotonic) -> None:
        self.a_second, self._most, self._clock = a_second, a_second * SAVED_S, clock
        self._left: dict[str, tuple[float, float]] = {}
        """By client: what is left in its bucket, and when that was."""

    def take(self, client: str) -> None:
        """Take one from the client's bucket. Raises Problem, which says when there is one again, if it is empty."""
        now = self._clock()
        left, then = self._left.get(client, (self._most, now))
        left = min(self._most, left + (now - then) * self.a_second)
        if left < 1:
            self._left[client] = (left, now)
            seconds = max(1, math.ceil((1 - left) / self.a_second))
            raise Problem(
                429, "Too many at once",
                f"at most {self.a_second} a second are taken from one client: send it again in {seconds} s",
                {"Retry-After": str(seconds)},
            )  # fmt: skip
        if client not in self._left and len(self._left) >= MOST_CLIENTS:
            self._forget(now)
        self._left[client] = (left - 1, now)

    def _forget(self, now: float) -> None:
        full = [name for name, (left, then) in self._left.items() if left + (now - then) * self.a_second >= self._most]
        for name in full or [next(iter(self._left))]:
            del self._left[name]


@dataclass(frozen=True, slots=True)
class Paces:
    """What is taken from each client: scans from each of its stations, and requests for all else."""

    scans: Pace | None = None
    requests: Pace | None = None

    @classmethod
    def of(cls, scans_a_second: int, requests_a_second: int) -> "Paces":
        """So many a second; 0 for any number."""
        return cls(*(Pace(one) if one else None for one in (scans_a_second, requests_a_second)))


ANY = Paces()


def client_of(scope: Scope) -> str:
    """By what a client is known: its enrolled device, else its badge, else its address."""
    state = scope.get("state", {})
    device, person = state.get("device"), state.get("person")
    if device:
        return str(device.device)
    return str(person.badge) if person else address_of(scope)


def address_of(scope: Scope) -> str:
    client = scope.get("client")
    return client[0] if client else ""
