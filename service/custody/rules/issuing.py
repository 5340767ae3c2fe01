"""Codes: issued by number, so that none is given twice; printed again as copies; voided for good."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from label_templates import codes
from label_templates.codes import Code
from service.custody.chain import State, number_in
from service.custody.facts import Fact
from service.custody.rules import packing
from service.custody.rules.act import Act
from service.custody.rules.anywhere import BadValue, ReasonNeeded, known_pack
from service.custody.rules.refusal import Refusal


class CodeVoided(Refusal):
    """This code was voided.

    {code} counts no longer: {why}.

    Take the label off, and show what it was on to the office.
    """


class NeverIssued(Refusal):
    """This code was never issued here.

    No {kind} was issued or registered under {code} in this ledger.

    Check the code, or issue a new one.
    """


class SeriesFull(Refusal):
    """There are not enough numbers left.

    {count} were asked for, and of the {most} that {series} can have, {left} are left.

    Ask for no more than that. A machine whose cards are used up is registered anew under a free number.
    """


class StillInUse(Refusal):
    """This code is in use.

    {code} stands for {what}: voided, it would stop the work at hand.

    Print its label again instead: that is a copy of the same code.
    """


SERIES_OF: Final = {"patients": "A", "badges": "B", "shelves": "H", "instruments": "I"}
"""What is issued by number alone. Load cards are issued by machine; a set's number comes with its registration."""
KINDS: Final = ("patients", "badges", "shelves", "instruments", "loads")
MOST_AT_ONCE: Final = 1000
_MINT: Final[dict[str, tuple[Callable[[str, int], Code], int]]] = {
    "A": (codes.patient_code, 999_999),
    "B": (codes.badge_code, 999),
    "H": (codes.shelf_code, 999),
    "I": (codes.instrument_code, 99_999),
}
_LAST_LOAD: Final = 9999


def stop_if_voided(state: State, *told: str | None) -> None:
    """Raise CodeVoided when one of these codes was voided."""
    for code in told:
        if code and (label := state.label(code)) and label.voided:
            raise CodeVoided(code=code, why=label.voided)


def code_in(series: str, number: int) -> str:
    """The code of this number in a series such as `A-K7` or `L-K7-1`."""
    if series[0] in "LW":
        return codes.load_code(series, number).text
    mint, _ = _MINT[series[0]]
    return mint(series[2:], number).text


def codes_of(issued: Fact) -> list[str]:
    """The codes that a `codes_issued` fact stands for."""
    first, count = issued.data["first"], issued.data["count"]
    return [code_in(issued.data["series"], number) for number in range(first, first + count)]


def reserve(state: State, act: Act, series: str, count: int) -> Fact:
    """The next `count` numbers of a series, after every one that was issued or is known here."""
    most = _LAST_LOAD if series[0] in "LW" else _MINT[series[0]][1]
    last = last_of(state, series)
    if last + count > most:
        raise SeriesFull(count=count, most=most, series=series, left=most - last)
    return act.fact("codes_issued", {"series": series, "first": last + 1, "count": count}, set=None, pack=None,
                    load=None, patient=None)  # fmt: skip


def last_of(state: State, series: str) -> int:
    """The highest number of a series that was issued, or that anything here bears without having been issued."""
    issued = state.series(series)
    return max(issued.last if issued else 0, state.highest(series), *(
        number_in(series, shelf) for shelf in state.practice.quarantine_shelves
    ), 0)  # fmt: skip


def issue_codes(state: State, act: Act) -> list[Fact]:
    """New codes of a kind; `act.data` has `kind`, `count`, and for load cards the `machine`."""
    kind, count = act.data["kind"], int(act.data["count"])
    if kind not in KINDS:
        raise BadValue(what="This kind of code", why=f"{kind!r} is not one.", todo=f"Choose among {', '.join(KINDS)}.")
    if not 1 <= count <= MOST_AT_ONCE:
        raise BadValue(what="This number", why=f"{count} codes were asked for.", todo=f"Ask for 1 to {MOST_AT_ONCE}.")
    return [reserve(state, act, _series(act, kind), count)]


def _series(act: Act, kind: str) -> str:
    machine = act.data.get("machine")
    if kind != "loads":
        if machine:
            raise BadValue(what="This machine", why=f"{kind} belong to none.", todo="Leave the machine out.")
        return f"{SERIES_OF[kind]}-{act.site}"
    code = codes.load_code(str(machine or ""), 0)
    if code.site != act.site:
        raise BadValue(what="This machine", why=f"{machine} stands at another site, not at {act.site}.",
                       todo="Name one of this site.")  # fmt: skip
    return str(machine)


def name_patient(state: State, act: Act) -> list[Fact]:
    """A code for a patient: the next one, or a card's. A number from elsewhere is put down, and never issued again."""
    series = f"A-{act.site}"
    if act.patient is None:
        return [reserve(state, act, series, 1)]
    number = number_in(series, codes.parse_as(act.patient, "A").text)
    if number <= last_of(state, series):
        return []
    return [act.fact("codes_issued", {"series": series, "first": number, "count": 1}, patient=None)]


def print_label(state: State, act: Act) -> list[Fact]:
    """Labels are printed: `act.pack`'s, or those of the `codes` in `act.data`, or of its `code`; all, or none.

    Each after the first of a code is a copy, and says which.
    """
    facts: list[Fact] = []
    earlier: Counter[str] = Counter()
    for text in act.data.get("codes") or [act.data.get("code") or act.pack]:
        code = codes.parse(str(text))
        stop_if_voided(state, code.text)
        if code.letter == "P":
            (printed,) = packing.print_label(state, replace(act, pack=code.text))
        else:
            why = {"why": act.why} if act.why else {}
            printed = act.fact("label_printed", {"copy": _prints(state, act, code) + 1, "code": code.text} | why)
        printed.data["copy"] += earlier[code.text]
        earlier[code.text] += 1
        facts.append(printed)
    return facts


def _prints(state: State, act: Act, code: Code) -> int:
    """How often the label of a code was printed. Whatever was issued by number was printed then."""
    label = state.label(code.text)
    if code.letter == "S":
        if state.set(code.text) is None:
            raise NeverIssued(kind=code.kind, code=code.text)
        return label.prints if label else 0
    series = code.text[:6] if code.letter in "LW" else code.text[:4]
    known = code.site == act.site and code.letter in (*_MINT, "L", "W")
    if not known or not 1 <= (code.number or 0) <= last_of(state, series):
        raise NeverIssued(kind=code.kind, code=code.text)
    return max(1, label.prints if label else 0)


def void_code(state: State, act: Act) -> list[Fact]:
    """A code that must not count any more: its label is lost or spoiled, or was given away."""
    code = codes.parse(str(act.data["code"]))
    if not act.why:
        raise ReasonNeeded(what="Voiding a code")
    if (label := state.label(code.text)) and label.voided:
        return []
    if what := _in_use(state, code):
        raise StillInUse(code=code.text, what=what)
    if code.letter != "P":
        _prints(state, act, code)
    return [act.fact("code_voided", {"code": code.text, "why": act.why})]


def _in_use(state: State, code: Code) -> str | None:
    """What goes on under a code, in words; None when it may be voided. Badges, shelves and instruments always may."""
    match code.letter:
        case "P":
            pack = known_pack(state, code.text)
            return None if pack.opened_at else f"a pack that is {state.where(pack)}"
        case "S":
            owner = state.set(code.text)
            return None if owner is None or owner.retired else f"the set {owner.name}"
        case "L" | "W":
            return "a load that has begun" if state.load(code.text) else None
        case "A":
            return "a patient the record knows" if state.patient(code.text) else None
    return None
