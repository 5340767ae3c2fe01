"""PINs given at a station, with keys or digit cards: kept in memory only, proved beside the writer, then forgotten."""

import re
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from label_templates.codes import CodeError, parse
from service.stations.scan import Scan

Prove = Callable[[str, str, str], str | None]
"""Badge, PIN and address in; None when they fit together, else one line that says why not and what to do."""
Submit = Callable[[Scan, "Given"], "Future[dict[str, Any]]"]
_PIN = re.compile(r"=([0-9]{4,20})")
"""No count has four digits: what is typed while a PIN is waited for never reaches the ledger as one."""
WANTED = "pin_wanted"


@dataclass(frozen=True, slots=True)
class Given:
    """What a station was given of a PIN: so many digits so far, or all of it, proved (`badge`) or wrong (`why`)."""

    digits: int = 0
    badge: str | None = None
    why: str | None = None


class Pins:
    """The stations that wait for a PIN, and what each was given of it so far."""

    def __init__(self, prove: Prove) -> None:
        self._prove = prove
        self._waiting: dict[str, str] = {}
        self._digits: dict[str, dict[str, str]] = {}
        """By station: the digit cards shown so far, by the id of their scan, so that one sent twice counts once."""
        self._pool = ThreadPoolExecutor(2, thread_name_prefix="pins")

    def close(self) -> None:
        self._pool.shutdown(wait=True)

    def heard(self, station: str, answer: dict[str, Any]) -> None:
        """Keep in mind whether this station waits for somebody's PIN after this answer."""
        if answer["rule"] == WANTED:
            self._waiting[station] = answer["pin_of"]
            return
        self._waiting.pop(station, None)
        self._digits.pop(station, None)

    def take(self, scan: Scan, address: str, submit: Submit) -> "Future[dict[str, Any]] | None":
        """Answer a scan that is part of a PIN; None for any other scan."""
        badge = self._waiting.get(scan.station)
        if badge is None:
            return None
        shown = self._digits.setdefault(scan.station, {})
        digit, typed = _digit(scan.code), _PIN.fullmatch(scan.code)
        if digit:
            shown[scan.id] = digit
            return submit(scan, Given(digits=len(shown)))
        if not typed and not (shown and _word(scan.code) == "DONE"):
            return None
        pin = typed[1] if typed else "".join(shown.values())
        self._digits.pop(scan.station, None)

        def prove() -> dict[str, Any]:
            why = self._prove(badge, pin, address)
            return submit(scan, Given(why=why) if why else Given(badge=badge)).result()

        return self._pool.submit(prove)


def part_of_a_pin(text: str) -> bool:
    """Whether `text`, scanned or typed, can be part of a PIN."""
    return bool(_digit(text) or _PIN.fullmatch(text))


def _word(text: str) -> str:
    try:
        return parse(text).word or ""
    except CodeError:
        return ""


def _digit(text: str) -> str:
    word = _word(text)
    return word if word.isdecimal() else ""
