"""Packing: looked at, counted onto its sheet, wrapped, labelled."""

from dataclasses import replace
from typing import Any

from service.custody.chain import State
from service.custody.facts import Fact
from service.custody.records import InstrumentSet, Pack
from service.custody.rules.act import Act
from service.custody.rules.anywhere import BadValue, NotOnStaff, ask, known_pack, name_of, registered_set
from service.custody.rules.refusal import Question, Refusal
from service.custody.rules.wash import new_turn


class NotWashed(Refusal):
    """This set has not been washed.

    {name} is {state}: no wash load with PASS since it was used.

    Take it to the wash.
    """


class AlreadyPacked(Refusal):
    """This set is packed already.

    Its pack {pack} is {state}.

    Go on with that pack, or scan the set in front of you.
    """


class MayEnterClean(Question):
    """Was {name} never opened?

    Its pack {pack} was {state}, and the record has no opening of it. It may be packed again without washing if the
    wrap was whole until now and the set is clean and dry: fresh wrap, fresh strip, new code.

    Type the reason to pack it again, or show NO and take it to the wash.
    """

    needs_reason = True
    reasons = ("wet pack", "torn wrap", "out of date", "load rejected")


class CleanEntryNotAllowed(Refusal):
    """This set has to go through the wash.

    This site washes every set again, opened or not.

    Take {name} to the wash.
    """


class NotInspected(Refusal):
    """This set has not been looked at.

    Nobody has said that {name} is clean, dry and in working order.

    Scan the set tag and answer the question.
    """


class CountMissing(Refusal):
    """The count is not finished.

    {missing} of {name} not counted yet.

    Count every line of the sheet.
    """


class ShortNotAllowed(Refusal):
    """Nobody has allowed this set to go short.

    {name} lacks {short}.

    Scan the badge of the person who allows it, or complete the set.
    """


class NoStripLot(Refusal):
    """There is no indicator strip in this pack.

    A wrapped pack needs a strip inside, and its lot in the record.

    Put a strip in and type its lot.
    """


class WrongLabel(Refusal):
    """This label is not for this pack.

    {label} is on the label; the pack in hand is {pack}.

    Take the label off and stick the right one.
    """


class CopyOfLabel(Question):
    """Print the label of {name} again?

    Its pack {pack} is {state}. A copy has the same code, and says that it is a copy.

    YES prints it. NO leaves it: then go on with that pack, or scan the set in front of you.
    """


class LabelFirst(Question):
    """The label of {name} is not stuck yet.

    It was packed, and its label was not scanned. One pack at a time: then no label comes onto another pack.

    Scan its label. Or say why it waits: 1 printer is out, 2 label is spoiled, or typed. NO goes back to it.
    """

    needs_reason = True
    reasons = ("printer is out: the code is written by hand", "label is spoiled: it is printed again")


class NotPacked(Refusal):
    """This pack is not packed.

    {pack} is {state}: its set was not counted and closed at packing.

    Take it to packing.
    """


WRAPS = ("double", "pouch", "none")
SEALED = ("packed", "loaded", "waiting", "released")


def start_packing(state: State, act: Act) -> list[Fact]:
    """A set tag at packing: may this set be packed? A pack never opened may begin its next turn clean.

    Where a printer `prints`, the label of one that is sealed may be printed again.
    """
    owner = registered_set(state, act.set)
    pack = state.pack(owner.pack)
    if pack is None:
        raise NotWashed(name=owner.name, state="new here")
    where = state.where(pack)
    if where == "clean":
        return []
    if where in {"soiled", "washing", "opened"}:
        raise NotWashed(name=owner.name, state=where)
    spent = pack.compromised or "compromised" in state.flags(pack) or where == "released"
    if not spent and act.data.get("prints"):
        ask(act, CopyOfLabel(name=owner.name, pack=pack.code, state=where))
        return print_label(state, replace(act, pack=pack.code))
    if not spent:
        raise AlreadyPacked(pack=pack.code, state=where)
    if not state.practice.clean_entry:
        raise CleanEntryNotAllowed(name=owner.name)
    ask(act, MayEnterClean(name=owner.name, pack=pack.code, state=where))
    return [new_turn(act, owner, "clean", {"why": act.why, "from": pack.code})]


def _clean_turn(state: State, act: Act) -> tuple[InstrumentSet, Pack]:
    owner = registered_set(state, act.set)
    pack = state.pack(owner.pack)
    where = state.where(pack) if pack else "new here"
    if pack is None or where in {"soiled", "washing", "opened", "new here"}:
        raise NotWashed(name=owner.name, state=where)
    if where != "clean":
        raise AlreadyPacked(pack=pack.code, state=where)
    return owner, pack


def inspect(state: State, act: Act) -> list[Fact]:
    """Clean, dry, works: what a look at the set found."""
    _, pack = _clean_turn(state, act)
    data = {key: bool(act.data[key]) for key in ("clean", "dry", "works")}
    return [act.fact("inspected", data, pack=pack.code, load=None)]


def close_pack(state: State, act: Act) -> list[Fact]:
    """DONE at packing. `act.data`: `found` (line → number), `wrap`, `strip_lot`, `mass_g`, `allowed_by`."""
    owner, pack = _clean_turn(state, act)
    if not pack.clean:
        raise NotInspected(name=owner.name)
    lines = _counted(owner, act.data["found"])
    short = [line for line in lines if line["found"] < line["expected"]]
    data: dict[str, Any] = {
        "lines": lines,
        "short": short,
        "wrap": _wrap(act.data.get("wrap") or owner.wrap),
        "strip_lot": act.data.get("strip_lot") or None,
        "mass_g": act.data.get("mass_g"),
        "implant": owner.implant,
    }
    if short:
        data["allowed_by"] = _who_allows(state, act, owner, short)
    if data["wrap"] != "none" and not data["strip_lot"]:
        raise NoStripLot
    life = state.practice.shelf_lives.get(data["wrap"])
    data["shelf_days"] = life.days if life else None
    return [act.fact("packed", data, pack=pack.code, load=None)]


def _wrap(wrap: str) -> str:
    if wrap not in WRAPS:
        raise BadValue(what="This wrap", why=f"{wrap!r} is not one.", todo=f"Choose among {', '.join(WRAPS)}.")
    return wrap


def _counted(owner: InstrumentSet, found: dict[str, int]) -> list[dict[str, Any]]:
    missing = [line for _, line, _ in owner.sheet if line not in found]
    if missing:
        raise CountMissing(missing=", ".join(missing), name=owner.name)
    return [{"line": line, "expected": count, "found": found[line]} for _, line, count in owner.sheet]


def _who_allows(state: State, act: Act, owner: InstrumentSet, short: list[dict[str, Any]]) -> str:
    badge = act.data.get("allowed_by")
    if not badge:
        raise ShortNotAllowed(name=owner.name, short=", ".join(line["line"] for line in short))
    person = state.person(badge)
    if person is None or person.left_at:
        raise NotOnStaff(code=badge)
    return str(badge)


def print_label(state: State, act: Act) -> list[Fact]:
    """A pack's label was printed; a second one is a copy of the same code."""
    pack = known_pack(state, act.pack)
    if pack.packed_at is None:
        raise NotPacked(pack=pack.code, state=state.where(pack))
    data = {"copy": pack.prints + 1} | ({"why": act.why} if act.why else {})
    return [act.fact("label_printed", data, set=pack.set, pack=pack.code, load=None)]


def label_stuck(state: State, act: Act) -> list[Fact]:
    """The stuck label was scanned, or typed where it was written `by_hand`. A copy is scanned like the first.

    `act.data["expected"]` is the pack in hand, if one is.
    """
    pack = known_pack(state, act.pack)
    expected = act.data.get("expected")
    if expected and expected != pack.code:
        raise WrongLabel(label=pack.code, pack=expected)
    where = state.where(pack)
    if where in {"soiled", "washing", "clean"}:
        raise NotPacked(pack=pack.code, state=where)
    copy = _copy_to_scan(state, pack)
    if where != "packed" and not (copy and where in SEALED):
        raise AlreadyPacked(pack=pack.code, state=f"{where} ({name_of(state, pack)})")
    if pack.labelled_at and not copy:
        return []
    told = {"by_hand": act.data.get("by_hand"), "copy": copy}
    return [act.fact("labelled", {key: value for key, value in told.items() if value}, set=pack.set, load=None)]


def _copy_to_scan(state: State, pack: Pack) -> int | None:
    """The number of the copy that was printed since the pack's label was last scanned."""
    if pack.labelled_at is None or pack.prints < 2:
        return None
    told = [fact for fact in state.history("pack", pack.code) if fact.kind in {"labelled", "label_printed"}]
    return told[-1].data["copy"] if told and told[-1].kind == "label_printed" else None


def set_label_aside(state: State, act: Act) -> list[Fact]:
    """The next set comes before the label of the last one is stuck: a note with the reason beside its packing."""
    pack = known_pack(state, act.pack)
    packed = [fact for fact in state.history("pack", pack.code) if fact.kind == "packed"]
    if not packed or (pack.labelled_at and not _copy_to_scan(state, pack)):
        return []
    ask(act, LabelFirst(name=name_of(state, pack)))
    note = {"of": packed[-1].id, "undo": False, "why": f"label not stuck yet: {act.why}"}
    return [act.fact("amended", note, set=pack.set, load=None)]
