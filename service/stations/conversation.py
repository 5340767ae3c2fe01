"""What happens to a scan: heard, checked, understood at its station, decided by the rules, answered."""

import re
import unicodedata
from dataclasses import replace
from types import ModuleType
from typing import Any

from label_templates import codes
from label_templates.codes import Code, CodeError
from service.custody.facts import Fact
from service.custody.rules import Question, Refusal, refused
from service.custody.rules.anywhere import DAMAGE
from service.custody.rules.issuing import stop_if_voided
from service.ledger.batch import Batch, Part
from service.stations import loading, office, packing, store, theatre, unloading, wash
from service.stations.hand import Hand
from service.stations.pins import WANTED, Given, part_of_a_pin
from service.stations.scan import Scan
from service.stations.talk import Answer, Here, PinWanted, Talk, number_of

STATIONS: dict[str, ModuleType] = {
    "wash": wash,
    "packing": packing,
    "loading": loading,
    "unloading": unloading,
    "store": store,
    "theatre": theatre,
    "office": office,
}
_DAMAGE_STATIONS = {"packing", "loading", "unloading", "store", "theatre"}
_RECENT = 5
_BARE = Here()


class Unreadable(Refusal):
    """This is not one of our codes.

    Not taken: {why}.

    Scan the label again, or set it aside.
    """


class WrongSite(Refusal):
    """This code belongs to another site.

    {code} was issued by site {theirs}; this is site {ours}.

    Set it aside and show it to the office.
    """


class WrongKind(Refusal):
    """A {kind} is not scanned here.

    This station takes {takes}.

    Scan what the station asks for.
    """


def hear(batch: Batch, part: Part, scan: Scan, given: Given | None = None, here: Here = _BARE) -> dict[str, Any]:
    """Answer one scan and write what it makes. The answer is what `POST /api/scans` returns.

    Where PINs are asked for, the acts that take one wait for it; `given` is what the station was given of one.
    """
    hand = Hand.from_json(batch.hand(scan.station))
    talk = Talk(scan, hand, part, here)
    try:
        answer = _of_a_pin(talk, given) if given else _understand(talk)
    except Question as question:
        answer = _question(talk, question)
    except Refusal as refusal:
        answer = _stop(talk, refusal)
    if talk.noted and answer.rule != "undo" and not all(fact.kind == "refused" for fact in talk.noted):
        hand.written = [fact.id for fact in talk.noted]
    hand.touched_at = scan.at
    body = as_body(answer, talk.noted, scan)
    if answer.rule == WANTED and hand.pending:
        body["pin_of"] = hand.pending["pin_of"]
    _remember(talk, answer, body)
    batch.keep_hand(scan.station, hand.as_json())
    return body


def as_body(answer: Answer, noted: list[Fact], scan: Scan) -> dict[str, Any]:
    return {
        "verdict": answer.verdict,
        "headline": answer.headline,
        "detail": answer.detail,
        "next": answer.next,
        "subject": answer.subject,
        "facts": [fact.id for fact in noted],
        "rule": answer.rule,
        "at": scan.at,
    }


def _remember(talk: Talk, answer: Answer, body: dict[str, Any]) -> None:
    hand = talk.hand
    hand.answer = body
    if answer.rule != WANTED and (talk.code is None or talk.code.letter != "K"):
        row = {
            "verdict": answer.verdict,
            "title": answer.title or answer.headline,
            "code": answer.subject,
            "at": talk.scan.at,
        }
        hand.recent = [row, *hand.recent][:_RECENT]


def _question(talk: Talk, question: Question) -> Answer:
    talk.hand.pending = {
        "code": talk.scan.code,
        "confirmed": sorted(talk.confirmed),
        "rule": question.rule,
        "reasons": list(question.reasons),
        "needs_reason": question.needs_reason,
        "why": talk.why,
        "pin_of": question.badge if isinstance(question, PinWanted) else None,
    }
    return Answer("ask", question.headline, question.why, question.step, talk.subject, question.rule)


def _stop(talk: Talk, refusal: Refusal) -> Answer:
    talk.hand.pending = None
    code = talk.code.text if talk.code else _quotable(talk.scan.code)
    keys: dict[str, str | None] = {}
    if talk.code and talk.code.letter == "P":
        keys = {"pack": talk.code.text, "set": codes.set_of_pack(talk.code.text).text}
    elif talk.code and talk.code.letter == "S":
        keys = {"set": talk.code.text}
    elif talk.code and talk.code.letter in "LW":
        keys = {"load": talk.code.text}
    talk.noted.extend(talk.part.note([refused(talk.act("refuse", None, **keys), code, refusal)]))
    return Answer("stop", refusal.headline, refusal.why, refusal.step, talk.subject, refusal.rule)


def _quotable(text: str) -> str | None:
    """A text that failed the check may hold anything, names too: only our own alphabet is quoted in a fact."""
    return text if re.fullmatch(r"[0-9A-Z*-]{1,20}", text) else None


def _of_a_pin(talk: Talk, given: Given) -> Answer:
    """What a station was given of the PIN it waits for: the act is done once it is proved."""
    _signed_on(talk)
    pending = talk.hand.pending
    if not _waits_for_a_pin(talk) or pending is None or given.badge not in {None, pending["pin_of"]}:
        return talk.ask("No PIN was asked for.", "Nothing was written.", "Begin again with what needs it.")
    if given.digits:
        return talk.ask("• " * given.digits, "", "Show DONE when the PIN is whole.", WANTED)
    if given.badge is None:
        return talk.ask("That PIN did not fit.", f"{given.why}.", "Give it again, or show NO.", WANTED)
    talk.proved = given.badge
    return _again(talk, pending["why"])


def _waits_for_a_pin(talk: Talk) -> bool:
    return bool(talk.here.pins and talk.hand.pending and talk.hand.pending["rule"] == WANTED)


def _understand(talk: Talk) -> Answer:
    text = talk.scan.code
    if _waits_for_a_pin(talk) and part_of_a_pin(text):
        anew = "The service was started anew meanwhile."
        return talk.ask("The PIN once more?", anew, "Give it from its first digit.", WANTED)
    if text.startswith("="):
        typed = _printable(text[1:])
        if not codes.is_code(typed.upper()):
            _signed_on(talk)
            return _typed(talk, typed)
        talk.typed, text = True, typed.upper()
        talk.scan = replace(talk.scan, code=text)
    talk.code = _check(talk, text)
    if talk.code is None:
        _signed_on(talk)
        return theatre.patient(talk, text)
    if talk.code.letter == "B":
        return _badge(talk, talk.code)
    _signed_on(talk)
    if talk.code.letter == "K":
        return _card(talk, talk.code.word or "")
    talk.hand.pending = None
    return _at_station(talk, talk.code)


def _printable(text: str) -> str:
    """Typed text without control characters and direction marks, in the form facts keep."""
    return unicodedata.normalize("NFC", "".join(letter for letter in text if letter.isprintable())).strip()


def _check(talk: Talk, text: str) -> Code | None:
    """The code that `text` is; None for a patient's wristband of the practice's own pattern, in theatre."""
    practice = talk.state.practice
    try:
        code = codes.parse(text)
    except CodeError as error:
        if practice.patient_pattern and talk.scan.kind == "theatre" and re.fullmatch(practice.patient_pattern, text):
            return None
        raise Unreadable(why=str(error)) from error
    if code.site not in {None, practice.site}:
        talk.code = code
        raise WrongSite(code=text, theirs=code.site, ours=practice.site)
    stop_if_voided(talk.state, code.text)
    return code


class NobodySignedOn(Question):
    """Who is working here?

    Nobody is signed on at this station.

    Scan your badge, then scan this again.
    """


def _signed_on(talk: Talk) -> None:
    idle = talk.minutes_since(talk.hand.touched_at) > talk.state.practice.idle_minutes
    if talk.hand.badge is None or (idle and not _badge_of_a_quiet_theatre(talk)):
        talk.hand.badge = None
        raise NobodySignedOn
    talk.do("sign on", by=talk.hand.badge)


def _badge_of_a_quiet_theatre(talk: Talk) -> bool:
    """An operation may be quiet for an hour: while a case is open, theatre asks for the patient, not for the badge."""
    return talk.scan.kind == "theatre" and talk.hand.case is not None


def _badge(talk: Talk, code: Code) -> Answer:
    for special in (packing, theatre):
        answer: Answer | None = special.scan(talk, code) if STATIONS[talk.scan.kind] is special else None
        if answer:
            return answer
    talk.do("sign on", by=code.text)
    talk.hand.badge, talk.hand.pending = code.text, None
    return talk.go(
        f"Badge {code.number:03d} is working here.", _left_open(talk), f"Scan {STATIONS[talk.scan.kind].TAKES}."
    )


def _left_open(talk: Talk) -> str:
    """What whoever was here before has left open at this station."""
    load = talk.state.load(talk.hand.load)
    if load is None or talk.scan.kind not in {"wash", "loading"}:
        return ""
    number, began = number_of(load.code), talk.local(load.began_at)
    if talk.scan.kind == "wash":
        return f"Wash load {number} is open here, begun at {began}."
    return f"Load {number} is open here, begun at {began}."


def _at_station(talk: Talk, code: Code) -> Answer:
    station = STATIONS[talk.scan.kind]
    talk.hand.digits = ""
    answer: Answer | None = station.scan(talk, code)
    if answer is None:
        raise WrongKind(kind=code.kind, takes=station.TAKES)
    return answer


def _typed(talk: Talk, text: str) -> Answer:
    pending = talk.hand.pending
    if pending and pending["needs_reason"] and text:
        return _again(talk, text)
    station = STATIONS[talk.scan.kind]
    answer: Answer | None = station.typed(talk, text) if hasattr(station, "typed") else None
    if answer is None and text.isdecimal() and len(text) <= 6:
        answer = _number(talk, int(text))
    return answer or talk.ask("That was not asked for.", "Nothing was written.", f"This station takes {station.TAKES}.")


def _number(talk: Talk, value: int) -> Answer | None:
    station = STATIONS[talk.scan.kind]
    talk.hand.digits = ""
    found: Answer | None = station.number(talk, value) if hasattr(station, "number") else None
    return found


def _again(talk: Talk, why: str | None) -> Answer:
    """The question was answered: hear the scan it stood against again."""
    pending = talk.hand.pending or {}
    talk.confirmed = frozenset([*pending["confirmed"], pending["rule"]])
    talk.why = why
    talk.scan = replace(talk.scan, code=pending["code"])
    talk.hand.pending = None
    if talk.scan.code.startswith("="):
        return _typed(talk, _printable(talk.scan.code[1:]))
    talk.code = _check(talk, talk.scan.code)
    if talk.code is None:
        answer = theatre.patient(talk, talk.scan.code)
    elif talk.code.letter == "K":
        word = talk.code.word or ""
        answer = _digit(talk, word) if word.isdecimal() else _card_at_station(talk, word)
    else:
        answer = _at_station(talk, talk.code)
    return answer


def _card(talk: Talk, word: str) -> Answer:
    hand = talk.hand
    if hand.late and word in {"YES", "DONE"}:
        hand.late = None
        return talk.go("Acknowledged.", "The late stop has been seen.", "Tell the surgeon.")
    if hand.pending and (answer := _answered(talk, word)):
        return answer
    if word.isdecimal():
        return _digit(talk, word)
    hand.pending = None
    if hand.digits and word in {"DONE", "YES"}:
        answer = _number(talk, int(hand.digits))
        if answer:
            return answer
    hand.digits = ""
    return _card_at_station(talk, word)


def _answered(talk: Talk, word: str) -> Answer | None:
    pending = talk.hand.pending or {}
    if word == "NO" or (word == "UNDO" and pending["code"] != "K-UNDO-3"):
        talk.hand.pending = None
        return talk.go("Left as it was.", "Nothing was written.", f"Scan {STATIONS[talk.scan.kind].TAKES}.")
    if word == "YES":
        if not pending["needs_reason"]:
            return _again(talk, None)
        return talk.ask(
            "The reason?", "It is kept with the record.", "Type it, or show the card of one.", pending["rule"]
        )
    if word.isdecimal() and 1 <= int(word) <= len(pending["reasons"]):
        return _again(talk, pending["reasons"][int(word) - 1])
    return None


def _digit(talk: Talk, digit: str) -> Answer:
    station = STATIONS[talk.scan.kind]
    if talk.hand.step in getattr(station, "CHOICES", ()):
        answer = _number(talk, int(digit))
        if answer:
            return answer
        return talk.ask("There is no such choice.", "", "Show one of the numbers named.")
    talk.hand.digits = (talk.hand.digits + digit)[-6:]
    return talk.ask(f"{talk.hand.digits} …", "", "Show DONE when the number is whole.")


def _card_at_station(talk: Talk, word: str) -> Answer:
    if word == "UNDO":
        return _undo(talk)
    if word.lower() in DAMAGE and talk.scan.kind in _DAMAGE_STATIONS:
        return _damaged(talk, word)
    answer: Answer | None = STATIONS[talk.scan.kind].card(talk, word)
    if answer is not None:
        return answer
    takes = STATIONS[talk.scan.kind].TAKES
    return talk.ask(
        f"{word} says nothing here now.", "Nothing was written.", f"This station takes {takes}.", "no_meaning"
    )


def _damaged(talk: Talk, word: str) -> Answer:
    pack = talk.hand.last_pack
    if pack is None:
        return talk.ask(
            "Which pack?", f"{word} speaks of the last pack scanned here.", f"Scan the pack, then show {word}."
        )
    talk.do("compromise", {"why": word.lower()}, pack=pack)
    talk.hand.asked = [code for code in talk.hand.asked if code != pack]
    condemned = any(fact.kind == "rejected" for fact in talk.noted)
    detail = "The whole load is rejected with it." if condemned else "It is kept out of use."
    return Answer(
        "go", f"{talk.pack_name(pack)} is put down as {word.lower()}.", detail,
        "Keep it apart: it goes round again with fresh wrap and a new label.", pack, title=talk.pack_name(pack),
    )  # fmt: skip


def _undo(talk: Talk) -> Answer:
    hand = talk.hand
    written = talk.do("undo", {"facts": hand.written})
    undone = [fact for note in written if (fact := talk.state.fact(note.data["of"]))]
    hand.written = []
    hand.rest()
    for fact in undone:
        match fact.kind:
            case "cycle_started" | "wash_ended":
                hand.load = fact.load
            case "case_closed":
                hand.case = fact.data["case"]
            case "case_opened":
                hand.case = None
    what = ", ".join(fact.kind.replace("_", " ") for fact in reversed(undone))
    return Answer("go", "Taken back.", f"Taken back: {what}. The record keeps that it was said.", "Go on.",
                  next((fact.pack for fact in undone if fact.pack), None), "undo")  # fmt: skip
