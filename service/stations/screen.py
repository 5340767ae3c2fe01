"""What a station's screen shows beside the verdict: what is open, who works here, the last scans, what may come now."""

from typing import Any

from service.custody.chain import State
from service.custody.rules.loading import not_unloaded
from service.ledger.store import Reader
from service.stations.hand import Hand
from service.stations.offers import offers
from service.stations.store import shelf_name
from service.stations.talk import number_of


def screen(reader: Reader, station: str) -> dict[str, Any]:
    """The station as it stands: its last answer, `open` (title, number, line), `who`, `last` and `late`.

    `offers` (code, title, note) may be touched instead of scanned; `about` (href, title) are the pages a stop
    speaks of; while `secret` is a badge, its PIN is waited for, and what is typed is shown to nobody.
    """
    hand = Hand.from_json(reader.hand(station))
    answer = hand.answer or {
        "verdict": "ask", "headline": "Scan your badge.", "detail": "", "next": "", "subject": None, "facts": [],
        "rule": None, "at": None,
    }  # fmt: skip
    who, state = hand.badge, reader.state
    return {
        **answer,
        "late": hand.late is not None,
        "open": _open(state, station.rsplit("-", 1)[0], hand),
        "who": (reader.name(who) or who) if who else None,
        "last": hand.recent,
        "step": hand.step,
        "sheet": _sheet(state, hand),
        "offers": offers(reader, state, station, hand),
        "about": _about(state, answer["subject"]) if answer["verdict"] == "stop" else [],
        "secret": answer.get("pin_of"),
    }


def _about(state: State, subject: str | None) -> list[dict[str, str]]:
    """The pages of what a stop speaks of, and of the load it came out of."""
    pack, found = state.pack(subject), []
    if pack:
        found.append({"href": f"/packs/{pack.code}", "title": f"Pack {pack.code}"})
    elif state.set(subject):
        found.append({"href": f"/sets/{subject}", "title": f"Set {subject}"})
    load = state.load(pack.load if pack else subject)
    if load:
        found.append({"href": f"/loads/{load.code}", "title": f"Load {number_of(load.code)}"})
    return found


def _sheet(state: State, hand: Hand) -> dict[str, Any] | None:
    """The count sheet in hand at packing: its set, what was found of each line so far, and the lines asked about."""
    owner = state.set(hand.work.get("set"))
    if owner is None or hand.step not in {"count", "line", "allow"}:
        return None
    work = hand.work
    if hand.step == "line":
        asked = work["lines"][:1]
    elif hand.step == "count":
        asked = [line for group, line, _ in owner.sheet if group == work["groups"][0]]
    else:
        asked = []
    return {"set": owner.code, "found": work["found"], "asked": asked}


def _open(state: State, kind: str, hand: Hand) -> dict[str, str]:
    load = state.load(hand.load)
    if kind in {"wash", "loading", "unloading"} and hand.load:
        things = "sets" if kind == "wash" else "packs"
        inside = len(load.packs) if load else 0
        line = f"{inside - len(not_unloaded(state, load))} of {inside} out" if load and kind == "unloading" else ""
        return {"title": f"Load {number_of(hand.load)}", "number": f"{inside} {things}", "line": line}
    if kind == "packing" and hand.work.get("set"):
        owner = state.set(hand.work["set"])
        counted, total = len(hand.work.get("found", {})), len(owner.sheet) if owner else 0
        return {"title": owner.name if owner else "", "number": f"{counted} of {total}", "line": "lines counted"}
    if kind == "store" and hand.shelf:
        return {"title": "Open shelf", "number": shelf_name(hand.shelf), "line": ""}
    case = state.case(hand.case)
    if kind == "theatre" and case and not case.closed_at:
        counts = {when: found for _, when, _, found in case.counts}
        gauze = " · ".join(f"{when} {found}" for when, found in counts.items())
        return {
            "title": f"Case {case.code}", "number": f"{len(case.packs)} packs",
            "line": f"gauze: {gauze}" if gauze else f"patient {case.patient}",
        }  # fmt: skip
    return {"title": "Nothing open here", "number": "", "line": ""}
