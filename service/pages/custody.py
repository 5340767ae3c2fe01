"""Custody as a line of steps: who, when, where; its gaps, its overrides, and what was found out later."""

from collections.abc import Callable, Iterable
from dataclasses import replace

from service.custody.chain import STEP_WORDS
from service.custody.facts import Fact, moment
from service.pages.looks import Looks, span
from service.pages.views import Step
from service.stations.store import shelf_name

Say = Callable[[Looks, Fact], str]


def _load(looks: Looks, fact: Fact) -> str:
    load = looks.state.load(fact.load)
    machine = looks.state.machine(load.machine) if load else None
    if not load or not machine:
        return fact.load or ""
    number = load.code[7:11]
    return f"{machine.name}, load {number}" if load.steam else f"{machine.name}, wash load {number}"


def _judged(_: Looks, fact: Fact) -> str:
    return f"{fact.data['verdict']} by the {fact.data['basis']}, {fact.data['hold_s']} s held"


def _opened(looks: Looks, fact: Fact) -> str:
    return f"for {looks.patient(fact.patient)}" if fact.patient else "not used"


_STEPS: tuple[tuple[str, str, Say], ...] = (
    ("received", "received", lambda _, f: f"entered {f.data['enter']}"),
    ("wash_loaded", "in wash", _load),
    ("wash_ended", "washed", lambda _, f: str(f.data["result"])),
    ("packed", "packed", lambda _, f: f"strip lot {f.data['strip_lot']}" if f.data["strip_lot"] else ""),
    ("loaded", "loaded", _load),
    ("cycle_started", "started", lambda _, f: f"programme {f.data['programme']}"),
    ("cycle_ended", "ended", lambda _, f: f"display {f.data['display']}"),
    ("cycle_judged", "judged", _judged),
    ("unloaded", "unloaded", lambda _, f: f"tape {f.data['tape']}"),
    ("released", "released", lambda _, f: "alone on shift" if f.data["alone"] else ""),
    ("stored", "stored", lambda _, f: shelf_name(f.data["shelf"])),
    ("overridden", "override", lambda _, f: f"{f.data['rule'].replace('_', ' ')}: {f.data['why']}"),
    ("opened", "opened", _opened),
)
_ORDER = [kind for kind, _, _ in _STEPS]
_BAD = {"wash_ended": "result", "cycle_judged": "verdict", "cycle_ended": "display"}
_GOOD = {"pass", "complete"}


def custody_line(looks: Looks, facts: list[Fact], missing: Iterable[str]) -> tuple[Step, ...]:
    """The steps of a pack in the order of the circle: `facts` are its custody, `missing` the steps it lacks."""
    undone = {fact.data["of"] for fact in facts if fact.kind == "amended" and fact.data["undo"]}
    standing = [fact for fact in facts if fact.id not in undone]
    news, lacking = _news(looks, standing), set(missing)
    line: list[Step] = []
    for kind, name, say in _STEPS:
        found = [fact for fact in standing if fact.kind == kind]
        if kind != "overridden":
            found = found[:1] if kind == "received" else found[-1:]
        steps = [_step(looks, fact, name, say(looks, fact)) for fact in found]
        if kind == "overridden":
            pairs = zip(steps, found, strict=True)
            steps = [replace(step, stood_for=_stood_for(looks, fact, standing)) for step, fact in pairs]
        if steps:
            steps[0] = replace(steps[0], news=tuple(news.get(kind, ())))
        line += steps
        if kind in lacking:
            line.append(Step(name, kind="gap", words=STEP_WORDS[kind]))
    return tuple(line)


def _step(looks: Looks, fact: Fact, name: str, words: str) -> Step:
    kind = {"overridden": "override", "opened": "opening"}.get(fact.kind, "ring")
    if fact.data.get(_BAD.get(fact.kind, ""), "pass") not in _GOOD:
        kind = "bad"
    late = looks.late(fact)
    said = f"noted {span(late)} late" if late else ""
    who = looks.reader.name(fact.by) if fact.by else None
    return Step(name, looks.said(fact.at), who or "", fact.by or "", words, kind, late=said)


def _stood_for(looks: Looks, overridden: Fact, facts: list[Fact]) -> str:
    """Whether the surgeon stood for an override with the PIN, and when."""
    confirmed = next((f for f in facts if f.kind == "override_confirmed" and f.data.get("of") == overridden.id), None)
    if confirmed is None:
        return "unconfirmed"
    said = looks.said(confirmed.at)
    return f"confirmed {said}, late" if confirmed.data.get("late") else f"confirmed {said}"


def _news(looks: Looks, facts: list[Fact]) -> dict[str, list[str]]:
    """Bad news that came later, by the step it speaks of; where the pack never got there, by the last it reached."""
    reached = {fact.kind for fact in facts}
    found: dict[str, list[str]] = {}
    for fact in facts:
        said = _bad_news(fact)
        if said:
            words, speaks_of = said
            step = next((kind for kind in (*speaks_of, *reversed(_ORDER)) if kind in reached), "received")
            day = f"{moment(fact.at).astimezone(looks.zone):%-d %B}"
            found.setdefault(step, []).append(f"{words}, {day}")
    return found


def _bad_news(fact: Fact) -> tuple[str, tuple[str, ...]] | None:
    """What a fact says against a pack, and of which steps it may speak, the likeliest first."""
    data = fact.data
    match fact.kind, data.get("indicator"), data.get("result"):
        case "indicator_read", "biological", "positive":
            return "biological positive", ("cycle_ended", "cycle_started", "loaded")
        case "indicator_read", "strip", "pale":
            return "strip pale", ("opened",)
        case "held", _, _:
            return f"held: {data['why']}", ("released", "unloaded", "cycle_ended", "loaded")
        case "rejected", _, _:
            return f"rejected: {data['why']}", ("released", "unloaded", "cycle_ended", "loaded")
        case "recalled", _, _:
            return "recalled", ("cycle_ended", "loaded", "wash_loaded")
        case "compromised", _, _ if data["why"] != "strip pale":
            return str(data["why"]), ("unloaded",)
    return None
