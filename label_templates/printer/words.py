"""What a printer says of itself and its jobs, in words: what is so, and what to do.

The keywords are those of RFC 8011 5.4.12 and 5.3.8 and of PWG 5100.9; the words are ours.
"""

from collections.abc import Iterable
from typing import Final

_STOPS: Final = {
    "media-empty": "out of paper: put label stock in",
    "media-needed": "wants other stock than is loaded: load the stock named, or press its key to go on",
    "media-jam": "jammed: take the stuck labels out and throw them away, a half-printed label is not to be used",
    "cover-open": "its cover is open: close it",
    "door-open": "a door is open: close it",
    "interlock-open": "a door is open: close it",
    "input-tray-missing": "its tray is out: put it back",
    "output-area-full": "its output is full: take the labels out",
    "output-tray-missing": "its output tray is out: put it back",
    "marker-supply-empty": "its ribbon or ink is used up: put in a new one, then grade a printed label",
    "marker-ribbon-empty": "its ribbon is used up: put in a new one, then grade a printed label",
    "toner-empty": "its toner is used up: put in new toner, then grade a printed label",
    "marker-waste-full": "its waste container is full: change it",
    "developer-empty": "its developer is used up: change it",
    "opc-life-over": "its drum is worn out: change it",
    "fuser-over-temp": "too hot: let it cool",
    "cutter-at-fault": "its cutter is at fault: look at it",
    "paused": "paused: press its key, or resume it in CUPS",
    "moving-to-paused": "about to pause: press its key, or resume it in CUPS",
    "stopping": "about to stop: look at it",
    "stopped-partly": "partly stopped: look at it",
    "shutdown": "shut down: turn it on",
    "offline": "offline: turn it on and connect it",
    "connecting-to-device": "being looked for by its queue: turn it on and connect it",
    "timed-out": "not answering its queue: turn it on and connect it",
    "cups-missing-filter": "not able to print this: its CUPS queue lacks a filter",
    "spool-area-full": "full: let it print what it has, or turn it off and on",
    "other": "reporting trouble it does not name: look at it",
}  # fmt: skip
_WARNS: Final = {
    "media-low": "stock is running out",
    "marker-supply-low": "ribbon or ink is running out",
    "toner-low": "toner is running out",
    "marker-waste-almost-full": "its waste container is nearly full",
    "developer-low": "developer is running out",
    "opc-near-eol": "its drum is nearly worn out",
    "output-area-almost-full": "its output is nearly full",
    "fuser-under-temp": "it is warming up",
}
_ENDS: Final = {
    "job-canceled-by-user": "cancelled by somebody at a computer",
    "job-canceled-by-operator": "cancelled by whoever looks after the printer",
    "job-canceled-at-device": "cancelled at the printer",
    "aborted-by-system": "given up by the printer",
    "unsupported-document-format": "the printer cannot read this kind of document",
    "document-format-error": "the printer found the document damaged",
    "submission-interrupted": "the connection broke while it was sent",
    "document-access-error": "the printer could not get at the document",
    "unsupported-compression": "the printer cannot unpack it",
    "compression-error": "the printer could not unpack it",
    "job-completed-with-errors": "the printer says there were errors",
    "job-completed-with-warnings": "the printer says there were warnings",
}
_NO_REASON: Final = frozenset({"job-completed-successfully", "processing-to-stop-point", "job-printing"})


def _bare(reason: str) -> tuple[str, str]:
    """A reason without its weight, and its weight: `error` where none is said (RFC 8011 5.4.12)."""
    for weight in ("error", "warning", "report"):
        if reason.endswith(f"-{weight}"):
            return reason.removesuffix(f"-{weight}"), weight
    return reason, "error"


def stops(reasons: Iterable[str]) -> list[str]:
    """What holds the printer up, each with what to do; nothing when nothing does."""
    found = []
    for reason in reasons:
        bare, weight = _bare(reason)
        if bare in _STOPS and weight == "error":
            found.append(_STOPS[bare])
        elif reason.endswith("-error"):
            found.append(f"reporting {bare.replace('-', ' ')}: look at it")
    return list(dict.fromkeys(found))


def warns(reasons: Iterable[str]) -> list[str]:
    """What the printer warns of while it goes on, such as that another tray is empty."""
    found = []
    for reason in reasons:
        bare, weight = _bare(reason)
        if bare in _WARNS:
            found.append(_WARNS[bare])
        elif bare in _STOPS and weight != "error":
            found.append(f"the printer warns, {_STOPS[bare]}")
    return list(dict.fromkeys(found))


def ended(reasons: Iterable[str]) -> str:
    """Why a job ended as it did; empty when the printer gives no reason."""
    said = [_ENDS.get(reason, reason.replace("-", " ")) for reason in reasons if reason not in _NO_REASON]
    return ", ".join(dict.fromkeys(said))


def state(number: int, reasons: Iterable[str]) -> str:
    """How a printer is: RFC 8011 5.4.11 numbers its states 3 idle, 4 processing, 5 stopped."""
    reasons = list(reasons)
    if held := stops(reasons):
        return "; ".join(held)
    said = {3: "ready", 4: "printing", 5: "stopped: look at it"}.get(number, "in a state it does not name: look at it")
    return "; ".join([said, *warns(reasons)])
