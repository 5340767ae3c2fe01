"""A pack's page: what is known of it, and its custody as a line."""

from collections.abc import Callable

from label_templates.symbols import qr
from service.custody.chain import STEP_WORDS, custody_facts, expired, gaps, step_of, use_by
from service.custody.facts import Fact, moment
from service.custody.records import InstrumentSet, Load, Pack
from service.custody.rules.overrides import unconfirmed
from service.pages import drawing
from service.pages.drawing import Stop
from service.pages.looks import Looks
from service.pages.views import (
    PackPage,
)
from service.stations.store import shelf_name

_SAID_ELSEWHERE = {"wash_ended", "cycle_judged"}
"""Steps that stand with another on the custody line while they passed, and on their own when they did not."""


def pack_page(looks: Looks, pack: Pack) -> PackPage:
    owner = looks.state.set(pack.set)
    facts = custody_facts(looks.state, pack)
    load = looks.state.load(pack.load)
    missing = gaps(facts)
    waiting = unconfirmed(facts)
    stops = _stops(looks, facts, pack, {gap["step"] for gap in missing})
    flags = looks.state.flags(pack)
    out = not pack.opened_at and expired(pack, load, looks.now, looks.zone)
    tags = (*flags, *(["out of date"] if out else []), *(["SHORT"] if pack.short else []),
            *_override_tags(pack, waiting))  # fmt: skip
    return PackPage(
        owner.name if owner else pack.set, pack.code, pack.set, tuple(_pack_rows(looks, pack, owner, load)), tags,
        drawing.qr_svg(qr(pack.code)), drawing.custody_line(stops),
        tuple((stop.name, stop.when, f"{stop.words} {stop.news}".strip()) for stop in stops),
        tuple(f"{gap['why']}, before {gap['before'].replace('_', ' ')}" for gap in missing), looks.facts(facts),
        bool(waiting),
    )  # fmt: skip


def _override_tags(pack: Pack, waiting: list[Fact]) -> list[str]:
    if not pack.overridden:
        return []
    said = "opened by override" if pack.opened_at else "overridden"
    return [f"{said}, unconfirmed" if waiting else said]


def _pack_rows(looks: Looks, pack: Pack, owner: InstrumentSet | None, load: Load | None) -> list[tuple[str, str]]:
    state = looks.state.where(pack)
    if pack.opened_at:
        whom = f" for {looks.patient(pack.patient)}" if pack.patient else ", and not used"
        state = f"opened{whom}, {looks.said(pack.opened_at)}"
    rows = [("State", state), ("Turn", str(pack.turn))]
    if owner and owner.mark_colour:
        rows.append(("Mark", f"{owner.mark_colour}, {owner.mark_pattern}"))
    if pack.packed_at:
        rows.append(("Packed", f"{looks.said(pack.packed_at)} by {looks.who(pack.packed_by)}; gauze {pack.gauze}"))
    if pack.short:
        rows.append(("SHORT", "; ".join(pack.short)))
    if load:
        rows.append(("Load", f"{load.code[7:11]}, {load.programme or 'not started'}"))
        last = use_by(pack, load, looks.zone)
        if load.ended_at:
            words = f"{last:%-d %B %Y}; not at all if wet, torn or dropped" if last else "no date: look at the wrap"
            rows.append(("Use by", words))
    strip = {None: "not yet seen", "turned": "turned", "pale": "PALE"}[pack.strip]
    rows.append(("Strip inside", strip))
    if pack.compromised:
        rows.append(("Kept out of use", ", ".join(pack.compromised)))
    rows.append(("Place", looks.place(pack)))
    return rows


def _stops(looks: Looks, facts: list[Fact], pack: Pack, missing: set[str]) -> list[Stop]:
    undone = {fact.data["of"] for fact in facts if fact.kind == "amended" and fact.data["undo"]}
    first: dict[str, Fact] = {}
    for fact in facts:
        if fact.id not in undone and fact.kind != "refused":
            first.setdefault(fact.kind, fact)
            if fact.kind in {"wash_ended", "cycle_judged"}:
                first[fact.kind] = fact
    steps: list[tuple[str, str, Callable[[Fact], str]]] = [
        ("received", "received", lambda f: f"entered {f.data['enter']}"),
        ("wash_loaded", "in wash", lambda f: f"W {f.load[7:11]}" if f.load else ""),
        ("wash_ended", "washed", lambda f: str(f.data["result"])),
        ("packed", "packed", lambda f: looks.who(f.by)),
        ("loaded", "loaded", lambda f: f"L {f.load[7:11]}" if f.load else ""),
        ("cycle_ended", "cycle", lambda f: _cycle_words(f, first.get("cycle_judged"))),
        ("cycle_judged", "judged", lambda f: f"{f.data['verdict']}, {f.data['hold_s']} s"),
        ("unloaded", "unloaded", lambda _: f"tape {pack.tape}"),
        ("released", "released", lambda f: looks.who(f.by)),
        ("stored", "stored", lambda f: shelf_name(f.data["shelf"])),
        ("overridden", "override", lambda f: str(f.data["rule"]).replace("_", " ")),
        ("opened", "opened", lambda f: looks.patient(f.patient).split(" (")[0] or "not used"),
    ]
    stops = []
    for kind, name, words in steps:
        fact = first.get(kind)
        if fact and kind in _SAID_ELSEWHERE and step_of(fact):
            continue
        if fact:
            shape = {"overridden": "override", "opened": "opening"}.get(kind, "ring")
            stops.append(Stop(name, looks.said(fact.at), words(fact), shape, _news(looks, kind, facts, undone)))
        elif kind in missing:
            stops.append(Stop(name, "", STEP_WORDS[kind].split(",")[0], "gap"))
    return stops


def _cycle_words(ended: Fact, judged: Fact | None) -> str:
    return f"{judged.data['verdict']}, {judged.data['hold_s']} s" if judged else f"display {ended.data['display']}"


def _news(looks: Looks, kind: str, facts: list[Fact], undone: set[str]) -> str:
    """Bad news that came later, at the step it speaks of."""
    for fact in facts:
        if fact.id in undone:
            continue
        if kind == "cycle_ended" and fact.kind == "indicator_read" and fact.data["result"] == "positive":
            return f"biological positive, {moment(fact.at).astimezone(looks.zone):%-d %B}"
        if kind == "released" and fact.kind == "rejected":
            return f"rejected, {moment(fact.at).astimezone(looks.zone):%-d %B}"
        if kind == "opened" and fact.kind == "indicator_read" and fact.data["result"] == "pale":
            return "strip pale"
        if kind == "unloaded" and fact.kind == "compromised" and fact.data["why"] != "strip pale":
            return str(fact.data["why"])
    return ""
