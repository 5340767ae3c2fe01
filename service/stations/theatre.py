"""Theatre: the patient, then each pack, may I open it? Then what its strip showed, and the gauze."""

from label_templates.codes import Code, card_code
from service.custody.chain import last_seen, use_by
from service.custody.records import Case, Pack
from service.custody.rules import Refusal
from service.custody.rules.anywhere import ask
from service.custody.rules.cases import ADDED, END, START, AnotherCaseOpen, StillThisPatient, gauze_expected
from service.stations.pins import WANTED
from service.stations.store import shelf_name
from service.stations.talk import Answer, Talk, number_of

TAKES = "the patient or a case card, then packs"
_MOMENTS = {START, ADDED, END}
_YES = card_code("YES").text


def scan(talk: Talk, code: Code) -> Answer | None:
    match code.letter:
        case "A":
            return patient(talk, code.text)
        case "C":
            return _resume(talk, code.text)
        case "P":
            return _may_open(talk, code.text)
        case "S":
            return _inside(talk, code.text)
        case "H" if talk.hand.step == "shelf":
            return _shelve(talk, code.text)
        case "B" if talk.hand.stopped:
            return _surgeon(talk, code.text)
        case _:
            return None


def patient(talk: Talk, code: str) -> Answer:
    """A patient's code, ours or the practice's own wristband: opens a case, or goes on with the open one."""
    case = _case(talk)
    if case and not case.closed_at:
        if talk.state.known_as(case.patient) == talk.state.known_as(code):
            return talk.go("This patient's case is open.", f"Case {case.code}.", "Scan the packs before opening them.")
        raise AnotherCaseOpen(case=case.code)
    (opened,) = talk.do("open case", patient=code)
    talk.hand.rest()
    talk.hand.case, talk.hand.asked = opened.data["case"], []
    talk.hand.last_pack = talk.hand.stopped = None
    return Answer(
        "go", "The case is open.", f"Case {opened.data['case']} for patient {code}.",
        "Scan each pack before opening it.", code,
    )  # fmt: skip


def _resume(talk: Talk, code: str) -> Answer:
    talk.do("resume case", {"case": code})
    if talk.hand.case and talk.hand.case != code and (open_here := _case(talk)) and not open_here.closed_at:
        raise AnotherCaseOpen(case=open_here.code)
    talk.hand.rest()
    talk.hand.case = code
    case = _case(talk)
    count = len(case.packs) if case else 0
    return talk.go(
        "The case goes on.", f"Case {code}: {count} packs opened so far.", "Scan each pack before opening it."
    )


def _case(talk: Talk) -> Case | None:
    return talk.state.case(talk.hand.case)


def _may_open(talk: Talk, code: str) -> Answer:
    case = _case(talk)
    if case is None or case.closed_at:
        return talk.ask("Which patient?", "No case is open here.", "Scan the patient, then the pack again.", "no_case")
    quiet = talk.minutes_since(talk.hand.touched_at)
    if quiet >= talk.state.practice.quiet_minutes:
        ask(talk.act("may open"), StillThisPatient(patient=case.patient, minutes=int(quiet)))
    talk.hand.last_pack, talk.hand.stopped = code, None
    try:
        talk.do("may open", pack=code, patient=case.patient)
    except Refusal as refusal:
        talk.hand.stopped = code if refusal.overridable else None
        raise
    if code not in talk.hand.asked:
        talk.hand.asked.append(code)
    pack = talk.state.pack(code)
    if pack is None:
        raise AssertionError("a pack that may be opened and is not there")
    name = talk.pack_name(code)
    then = "Look at the strip, then show TURNED, PALE or UNSURE."
    return talk.go(f"Open {name}, turn {pack.turn}.", _evidence(talk, pack), then, title=name)


def _evidence(talk: Talk, pack: Pack) -> str:
    load = talk.state.load(pack.load)
    if load is None:
        return ""
    last = use_by(pack, load, talk.state.practice.zone)
    said = [f"Load {number_of(load.code)}, nothing against it so far"]
    if load.biological_lot and load.biological is None:
        said.append(f"biological not yet read, due {load.biological_due}")
    said.append(f"use by {last:%-d %B %Y}" if last else "no date: look at the wrap")
    if pack.short:
        said.append(f"SHORT: {', '.join(pack.short)}")
    if pack.overridden:
        said.append("opened by override")
    return "; ".join(said) + "."


def _inside(talk: Talk, code: str) -> Answer:
    pack = talk.hand.last_pack
    if pack is None:
        return talk.ask("Which pack was this in?", "", "Scan the pack first, then the tag inside.")
    talk.do("check set inside", set=code, pack=pack)
    return talk.go(f"{talk.set_name(code)} is the right set.", "The tag inside and the label agree.")


def _shelve(talk: Talk, shelf: str) -> Answer:
    pack = talk.hand.work["pack"]
    talk.do("store pack", {"shelf": shelf}, pack=pack)
    talk.hand.rest()
    return talk.go(f"{talk.pack_name(pack)} is on {shelf_name(shelf)}.", "", "Scan the next pack.")


def card(talk: Talk, word: str) -> Answer | None:
    if word == "DONE":
        return _close(talk)
    if word == "YES" and talk.hand.step == "confirm":
        return _confirm(talk)
    if word not in {"TURNED", "PALE", "UNSURE", "RETURN", "UNUSED"}:
        return None
    pack = talk.hand.last_pack
    if pack is None or (word != "RETURN" and pack not in talk.hand.asked):
        return talk.ask(
            "Which pack?", f"{word} speaks of a pack that may be opened.", f"Scan the pack, then show {word}."
        )
    if word == "RETURN":
        talk.do("return pack", pack=pack)
        _settled(talk, pack)
        talk.hand.step, talk.hand.work = "shelf", {"pack": pack}
        return talk.ask(f"{talk.pack_name(pack)} goes back sealed.", "", "Put it on a shelf and scan the shelf.")
    if word == "UNUSED":
        talk.do("open unused", pack=pack)
        _settled(talk, pack)
        return talk.go(f"{talk.pack_name(pack)} was opened and not used.", "It has no patient.", "It goes to the wash.")
    return _opened(talk, pack, word)


def _settled(talk: Talk, pack: str) -> None:
    if talk.hand.step == "confirm":
        talk.hand.rest()
    talk.hand.asked = [code for code in talk.hand.asked if code != pack]


def _opened(talk: Talk, pack: str, word: str) -> Answer:
    case = _case(talk)
    data = {"case": talk.hand.case, "strip": "turned" if word == "TURNED" else "pale", "unsure": word == "UNSURE"}
    talk.do("open pack", data, pack=pack, patient=case.patient if case else None)
    _settled(talk, pack)
    name = talk.pack_name(pack)
    if word == "TURNED":
        return Answer("go", f"{name} is open.", "Strip turned: steam reached the inside.",
                      "Scan the next pack, or count the gauze.", pack, title=name)  # fmt: skip
    record = talk.state.pack(pack)
    load = record.load if record else None
    return Answer(
        "stop", f"Do not use {name}.", f"Its strip is {'in doubt' if word == 'UNSURE' else 'pale'}: load "
        f"{number_of(load) if load else ''} is on hold. {_others(talk, load, pack)}",
        "Put it aside, tell the surgeon, and fetch another pack from another load.", pack, "strip_pale", name,
    )  # fmt: skip


def _others(talk: Talk, load: str | None, pack: str) -> str:
    """Every other pack of the load and where it was last seen."""
    record = talk.state.load(load)
    rows = []
    for code in record.packs if record else ():
        other = talk.state.pack(code)
        if other is None or code == pack:
            continue
        if other.patient:
            where = f"opened for {other.patient}"
        elif other.shelf:
            where = f"last seen on {shelf_name(other.shelf)}"
        else:
            seen_station, _ = last_seen(talk.state, other)
            where = f"last seen at {seen_station}"
        rows.append(f"{talk.called(other)}: {where}")
    return f"Also in it: {'; '.join(rows)}." if rows else "No other pack was in it."


def number(talk: Talk, value: int) -> Answer | None:
    case = _case(talk)
    if case is None or case.closed_at:
        return talk.ask("Which patient?", "No case is open here.", "Scan the patient, then count.", "no_case")
    started = any(when == START for _, when, _, _ in case.counts)
    return _count(talk, case, END if started else START, value)


def _count(talk: Talk, case: Case, when: str, value: int) -> Answer:
    expected = gauze_expected(talk.state, case, when)
    talk.do("count", {"case": case.code, "moment": when, "found": value})
    if when == ADDED:
        return talk.go(f"{value} gauze added.", "", "Go on.")
    if value == expected:
        return talk.go(f"Gauze at the {when}: {value}.", "As expected.", "Go on." if when == START else "Show DONE.")
    return talk.ask(
        f"Gauze at the {when}: {value}, not {expected}.", "The count does not agree.",
        "Tell the surgeon. Count again; search wound, field and waste." if when == END else "Count again.",
        "count_unequal",
    )  # fmt: skip


def typed(talk: Talk, text: str) -> Answer | None:
    if talk.hand.step == "override":
        return _override(talk, text)
    words = text.split()
    case = _case(talk)
    if len(words) == 2 and words[0] in _MOMENTS and words[1].isdecimal() and case and not case.closed_at:
        return _count(talk, case, words[0], int(words[1]))
    return None


def _close(talk: Talk) -> Answer:
    case = _case(talk)
    if case is None or case.closed_at:
        return talk.ask("Which case?", "No case is open here.", "Scan the patient.", "no_case")
    talk.do("close case", {"case": case.code, "left": list(talk.hand.asked)})
    talk.hand.rest()
    talk.hand.case = talk.hand.last_pack = talk.hand.stopped = None
    talk.hand.asked = []
    return Answer(
        "go", "The case is closed.", f"Case {case.code}: {len(case.packs)} packs opened.", "Next patient.", case.code
    )


def _surgeon(talk: Talk, badge: str) -> Answer | None:
    person = talk.state.person(badge)
    if person is None or person.left_at or "surgeon" not in person.roles:
        return None
    pack = talk.hand.stopped or ""
    talk.hand.step, talk.hand.work = "override", {"surgeon": badge, "pack": pack}
    return talk.ask(
        f"Override for {talk.pack_name(pack)}?", "It stays on every report, unconfirmed until the surgeon's PIN.",
        "Type the reason, or show NO.", "override",
    )  # fmt: skip


def _override(talk: Talk, reason: str) -> Answer:
    case, work = _case(talk), talk.hand.work
    if case is None or case.closed_at:
        return talk.ask("Which patient?", "No case is open here.", "Scan the patient.", "no_case")
    data = {"why": reason, "case": case.code, "typed_by": talk.hand.badge}
    talk.do("override", data, pack=work["pack"], patient=case.patient, by=work["surgeon"])
    talk.hand.asked.append(work["pack"])
    talk.hand.last_pack, talk.hand.stopped = work["pack"], None
    talk.hand.rest()
    opening = "open it, look at the strip, then show TURNED, PALE or UNSURE."
    said = f"Overridden: {talk.pack_name(work['pack'])}."
    unconfirmed = "Unconfirmed until the surgeon's PIN, within 24 hours."
    if not talk.here.pins:
        return Answer("ask", said, unconfirmed, f"{opening[0].upper()}{opening[1:]}", work["pack"], "override")
    talk.hand.step, talk.hand.work = "confirm", work
    pending = {"code": _YES, "confirmed": [], "rule": WANTED, "reasons": [], "needs_reason": False, "why": None}
    talk.hand.pending = pending | {"pin_of": work["surgeon"]}
    return Answer("ask", said, unconfirmed, f"The surgeon's PIN now; or {opening}", work["pack"], WANTED)


def _confirm(talk: Talk) -> Answer:
    """The surgeon stands for the override just made, with the PIN."""
    work = talk.hand.work
    talk.do("confirm override", pack=work["pack"], by=work["surgeon"])
    talk.hand.rest()
    return Answer(
        "go", "The override is confirmed.", f"Badge {work['surgeon'][5:8]} stands for it.",
        "Open the pack, look at the strip, then show TURNED, PALE or UNSURE.", work["pack"], "override",
    )  # fmt: skip
