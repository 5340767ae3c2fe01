"""The packing station: a set is looked at, counted group by group, wrapped and labelled."""

from typing import Any

from label_templates import supplies
from label_templates.codes import Code
from service.custody.facts import Fact, moment
from service.custody.records import InstrumentSet
from service.custody.rules.packing import WRAPS
from service.stations.talk import Answer, Talk

TAKES = "a set tag, or the label just stuck on its pack"
CHOICES = frozenset({"fault", "finish"})
_FAULTS = {
    1: ({"clean": False, "dry": True, "works": True}, "not clean", "Take it back to the wash."),
    2: ({"clean": True, "dry": False, "works": True}, "not dry", "Dry it, then scan its tag again."),
    3: ({"clean": True, "dry": True, "works": False}, "not working", ""),
}
_WRAP_WORDS = {"double": "double wrap", "pouch": "pouch", "none": "unwrapped, for immediate use"}


def scan(talk: Talk, code: Code) -> Answer | None:
    if code.letter == "S":
        return _begin(talk, code.text)
    if code.letter == "P":
        return _label(talk, code.text)
    if code.letter == "B" and talk.hand.step == "allow":
        return _allowed(talk, code.text)
    return None


def _begin(talk: Talk, set_code: str) -> Answer:
    if talk.hand.step == "label" and set_code != talk.hand.work["set"]:
        talk.do("set label aside", pack=talk.hand.work["pack"])
        talk.hand.rest()
    told = {"prints": talk.here.prints}
    printed = [fact for fact in talk.do("start packing", told, set=set_code) if fact.kind == "label_printed"]
    if printed:
        return copy_printed(talk, printed[0])
    owner = talk.state.set(set_code)
    talk.hand.rest()
    talk.hand.step = "inspect"
    talk.hand.work = {"set": set_code, "found": {}, "wrap": owner.wrap if owner else "double"}
    talk.hand.last_pack = owner.pack if owner else None
    return Answer(
        "ask",
        f"{talk.set_name(set_code)}: clean, dry, in working order?",
        "Look at every joint and tip.",
        "Show YES, or NO to say what is wrong.",
        set_code,
        title=talk.set_name(set_code),
    )


def copy_printed(talk: Talk, printed: Fact) -> Answer:
    """A pack's label comes out of the printer again: it waits to be scanned, like the first."""
    pack = str(printed.pack)
    name, copy = talk.pack_name(pack), printed.data["copy"]
    talk.hand.rest()
    talk.hand.step, talk.hand.work = "label", {"set": printed.set, "pack": pack}
    talk.hand.last_pack = pack
    words = f"It is marked as copy {copy}." if copy > 1 else "It is the first that is printed."
    return Answer(
        "go", f"The label of {name} is printed again.", words, "Stick it over the old one, then scan it.",
        pack, title=name,
    )  # fmt: skip


def _owner(talk: Talk) -> InstrumentSet:
    owner = talk.state.set(talk.hand.work.get("set"))
    if owner is None:
        raise AssertionError("a packing step without its set")
    return owner


def _label(talk: Talk, pack_code: str) -> Answer:
    expected = talk.hand.work.get("pack") if talk.hand.step == "label" else None
    stuck(talk, pack_code, expected)
    talk.hand.last_pack = pack_code
    if expected:
        talk.hand.rest()
    name = talk.pack_name(pack_code)
    return talk.go(f"{name} is labelled.", "", "Take it to loading, or scan the next set.", title=name)


def stuck(talk: Talk, pack_code: str, expected: str | None) -> None:
    """The label on a pack was scanned; or its code was typed, as it stands there written by hand."""
    told = {"expected": expected, "by_hand": talk.typed}
    talk.do("stick label", {key: value for key, value in told.items() if value}, pack=pack_code)


def _sheet_changed(talk: Talk) -> Answer | None:
    """Somebody changed the count sheet while this set was being counted onto it: the count begins anew."""
    work = talk.hand.work
    if "sheet" not in work or work["sheet"] == (now := [list(line) for line in _owner(talk).sheet]):
        return None
    talk.hand.step = "count"
    work |= {"sheet": now, "found": {}, "groups": list(dict.fromkeys(group for group, _, _ in now))}
    return _ask_count(talk, "The count sheet was changed meanwhile: count again.")


def card(talk: Talk, word: str) -> Answer | None:
    step = talk.hand.step
    if word != "NO" and (changed := _sheet_changed(talk)):
        return changed
    if word == "NO" and step == "inspect":
        talk.hand.step = "fault"
        return talk.ask("What is wrong?", "", "Show 1 not clean, 2 not dry, 3 something does not work.")
    if word == "YES" and step == "inspect":
        return _inspected(talk, {"clean": True, "dry": True, "works": True}, "")
    if word == "YES" and step == "count":
        group = talk.hand.work["groups"][0]
        return _counted(talk, sum(count for g, _, count in _owner(talk).sheet if g == group))
    if word == "YES" and step == "line":
        line = talk.hand.work["lines"][0]
        return _counted(talk, next(count for _, name, count in _owner(talk).sheet if name == line))
    if word == "YES" and step == "strip" and talk.hand.strip_lot:
        return _strip(talk, talk.hand.strip_lot)
    if word == "DONE" and step == "finish":
        return _close(talk)
    if word == "DONE" and step in {"count", "line"}:
        return _ask_count(talk, "DONE does not stand for a count.")
    if word == "NO" and step == "label":
        name = talk.pack_name(talk.hand.work["pack"])
        talk.hand.rest()
        return talk.go(f"The label of {name} waits.", "Before it was scanned, the pack is not loaded.",
                       "Scan the next set tag.")  # fmt: skip
    if word == "NO" and step:
        talk.hand.rest()
        return talk.go("Put aside.", "Nothing more was written of this set.", "Scan the next set tag.")
    return None


def number(talk: Talk, value: int) -> Answer | None:
    step = talk.hand.step
    if changed := _sheet_changed(talk):
        return changed
    if step == "fault" and value in _FAULTS:
        data, words, todo = _FAULTS[value]
        return _inspected(talk, data, words, todo)
    if step in {"count", "line"}:
        return _counted(talk, value)
    if step == "strip":
        return _strip(talk, str(value))
    if step == "finish" and 1 <= value <= len(WRAPS):
        talk.hand.work["wrap"] = WRAPS[value - 1]
        return _ask_finish(talk)
    return None


def typed(talk: Talk, text: str) -> Answer | None:
    if changed := _sheet_changed(talk):
        return changed
    if talk.hand.step == "count" and text.isdecimal():
        return _total(talk, int(text))
    if talk.hand.step == "strip":
        return _strip_typed(talk, text)
    if talk.hand.step == "line" and text.isdecimal():
        return _counted(talk, int(text))
    return None


def _inspected(talk: Talk, data: dict[str, bool], words: str, todo: str = "") -> Answer:
    owner = _owner(talk)
    talk.do("inspect", data, set=owner.code)
    if not (data["clean"] and data["dry"]):
        talk.hand.rest()
        return talk.go(f"{owner.name} is put down as {words}.", "It is not packed.", todo)
    talk.hand.step = "count"
    talk.hand.work["sheet"] = [list(line) for line in owner.sheet]
    talk.hand.work["groups"] = list(dict.fromkeys(group for group, _, _ in owner.sheet))
    return _ask_count(talk, "Take out what does not work, and count what is left." if words else "")


def _ask_count(talk: Talk, before: str = "") -> Answer:
    owner = _owner(talk)
    if talk.hand.step == "line":
        line = talk.hand.work["lines"][0]
        expected = next(count for _, name, count in owner.sheet if name == line)
        return talk.ask(f"{line}: {expected}?", before, "Show YES, or the number found and DONE.")
    group = talk.hand.work["groups"][0]
    lines = [(name, count) for g, name, count in owner.sheet if g == group]
    total = sum(count for _, count in lines)
    listed = ", ".join(f"{count} × {name}" for name, count in lines)
    return talk.ask(f"{group}: {total}?", f"{before} {listed}.".strip(), "Show YES, or the number found and DONE.")


def _total(talk: Talk, value: int) -> Answer:
    """A typed number: the total of all groups not counted yet, or else the count of the group asked about."""
    owner, work = _owner(talk), talk.hand.work
    left = [line for line in owner.sheet if line[0] in work["groups"]]
    total = sum(count for _, _, count in left)
    if value == total:
        work["found"] |= {line: count for _, line, count in left}
        work["groups"] = []
        return _after_count(talk)
    if value <= sum(count for group, _, count in left if group == work["groups"][0]):
        return _counted(talk, value)
    return _ask_count(talk, f"The list has {total}, not {value}: go through it group by group.")


def _counted(talk: Talk, value: int) -> Answer:
    owner, work = _owner(talk), talk.hand.work
    if talk.hand.step == "line":
        line = work["lines"].pop(0)
        expected = next(count for _, name, count in owner.sheet if name == line)
        if value > expected:
            work["lines"].insert(0, line)
            return _ask_count(talk, f"{value} is more than the sheet has: take out what is not of this set.")
        work["found"][line] = value
        if work["lines"]:
            return _ask_count(talk)
        talk.hand.step = "count"
        work["groups"].pop(0)
        return _after_count(talk)
    group = work["groups"][0]
    lines = [(name, count) for g, name, count in owner.sheet if g == group]
    total = sum(count for _, count in lines)
    if value > total:
        return _ask_count(talk, f"{value} is more than the sheet has: take out what is not of this set.")
    if value < total:
        talk.hand.step = "line"
        work["lines"] = [name for name, _ in lines]
        return _ask_count(talk, f"{total - value} missing in {group}: line by line.")
    work["found"] |= dict(lines)
    work["groups"].pop(0)
    return _after_count(talk)


def _after_count(talk: Talk) -> Answer:
    work = talk.hand.work
    if work["groups"]:
        return _ask_count(talk)
    short = _short(talk)
    if short and not work.get("allowed_by"):
        talk.hand.step = "allow"
        return talk.ask(
            "Who allows it to go short?", f"Missing: {', '.join(short)}.", "Scan that person's badge.",
            "short_not_allowed",
        )  # fmt: skip
    return _ask_strip(talk)


def _short(talk: Talk) -> list[str]:
    found = talk.hand.work["found"]
    return [f"{line} ({found[line]} of {count})" for _, line, count in _owner(talk).sheet if found[line] < count]


def _allowed(talk: Talk, badge: str) -> Answer:
    talk.do("sign on", by=badge)
    talk.hand.work["allowed_by"] = badge
    return _ask_strip(talk)


def _ask_strip(talk: Talk) -> Answer:
    talk.hand.step = "strip"
    lot = talk.hand.strip_lot
    if lot:
        return talk.ask(
            "Strip inside?", f"The lot last used here is {lot}.", "Put it in. Show YES, or type another lot."
        )
    return talk.ask("Which lot are the strips of?", "It is on the box.", "Put a strip in and type its lot.")


def _strip_typed(talk: Talk, text: str) -> Answer:
    """A lot as typed, or the code on the strips' box as a hand scanner sends it."""
    told = talk.scan.code[1:]
    if not supplies.looks_like_one(told):
        return _strip(talk, text)
    try:
        box = supplies.parse(told)
    except supplies.SupplyError:
        return talk.ask("The code on this box does not hold.", "Its check digit or a date in it is wrong.",
                        "Scan it again, or type the lot.")  # fmt: skip
    today = moment(talk.scan.at).astimezone(talk.state.practice.zone).date()
    if box.expires and box.expires < today:
        return talk.ask(
            f"These strips were good until {box.expires:%-d %B %Y}.", "", "Take them away, and scan another box."
        )
    if not box.lot:
        return talk.ask("The code on this box names no lot.", "", "Type the lot: it is on the box.")
    return _strip(talk, box.lot)


def _strip(talk: Talk, lot: str) -> Answer:
    talk.hand.work["strip_lot"] = talk.hand.strip_lot = lot.strip()[:40]
    return _ask_finish(talk)


def _ask_finish(talk: Talk) -> Answer:
    talk.hand.step = "finish"
    wrap = _WRAP_WORDS[talk.hand.work["wrap"]]
    return talk.ask(
        f"Close {_owner(talk).name}?", f"Wrap: {wrap}. 1 double wrap, 2 pouch, 3 unwrapped for immediate use.",
        "Wrap it, tape it, then show DONE.",
    )  # fmt: skip


def _close(talk: Talk) -> Answer:
    owner, work = _owner(talk), talk.hand.work
    data: dict[str, Any] = {key: work.get(key) for key in ("found", "wrap", "strip_lot", "allowed_by")}
    (packed,) = talk.do("close pack", data, set=owner.code)
    short = " It goes SHORT." if packed.data["short"] else ""
    talk.hand.step, talk.hand.work = "label", {"set": owner.code, "pack": packed.pack}
    talk.hand.last_pack = packed.pack
    by_hand = f"Stick the label on, then scan it. Without a label, write {packed.pack} on it by hand and type that."
    return Answer(
        "go", f"{owner.name} is packed.", f"Turn {owner.turn}.{short}",
        "Stick the label on, then scan it." if talk.here.prints else by_hand, packed.pack, title=owner.name,
    )  # fmt: skip
