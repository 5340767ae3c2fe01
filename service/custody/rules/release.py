"""Release, reject, hold, and the indicators and judgements they rest on."""

from datetime import timedelta
from typing import Any

from label_templates import codes
from service.custody.chain import State
from service.custody.facts import Fact, moment
from service.custody.planning import mass_of
from service.custody.records import Load, Pack
from service.custody.rules.act import Act
from service.custody.rules.anywhere import LoadNotOpen, ReasonNeeded, name_of, said
from service.custody.rules.loading import CycleNotEnded, CycleNotStarted, not_unloaded
from service.custody.rules.refusal import Question, Refusal


class MayNotRelease(Refusal):
    """This person may not release loads.

    {code} is not among those named for it.

    Ask one of: {who}.
    """


class PackerAlone(Refusal):
    """The packer may not release her own load.

    {code} packed everything in load {load}, and this site wants a second pair of eyes.

    Ask another person who may release.
    """


class NotAGoodsLoad(Refusal):
    """There is nothing to release in this load.

    Load {load} was a test ({kind}).

    Read its indicator instead.
    """


class NotJudged(Refusal):
    """The cycle of this load has not been judged.

    Load {load} has no verdict, and turned tape shows only that a pack went through a cycle.

    Add its log, or the printout, and judge it.
    """


class DidNotPass(Refusal):
    """The cycle of this load did not pass.

    Load {load} was judged: {verdict}.

    Reject the load.
    """


class DisplaySaid(Refusal):
    """This cycle did not end well.

    The display of load {load} said {display}. Such a load can only be rejected.

    Reject the load.
    """


class NotAllUnloaded(Refusal):
    """Not every pack is accounted for.

    On the list of load {load} and not scanned at unloading: {missing}.

    Scan them at unloading, or record them as missing.
    """


class BiologicalPositive(Refusal):
    """The biological indicator of this load is positive.

    Something lived through the cycle of load {load}.

    Reject the load and open a recall.
    """


class ImplantWaits(Refusal):
    """This load waits for its biological indicator.

    {name} holds an implant, and the biological of load {load} {what}.

    Release it when the biological is read and negative.
    """


class BiologicalUnread(Refusal):
    """This load waits for its biological indicator.

    This site releases nothing before it is read; due {due}.

    Read it first.
    """


class AlreadyReleased(Refusal):
    """This load is released already.

    It was released {when} by {who}.

    Nothing more to do.
    """


class LoadRejected(Refusal):
    """This load is rejected.

    {why}. A rejected load is never released.

    Take its packs through the wash, or pack them again.
    """


class NotSoSoon(Refusal):
    """There is nothing to hold here.

    Load {load} has not begun.

    Check the load code.
    """


class LogUsed(Refusal):
    """This log belongs to another load.

    The same bytes were judged for load {other}, and one cycle cannot stand for two loads.

    Send the log of load {load}.
    """


class LogElsewhere(Question):
    """This log may be another load's.

    It began {began}, and load {load} was started {when}.

    Check the file, and send it again with the reason why it is this load's.
    """

    needs_reason = True


class LogUndated(Question):
    """This log does not say when it began.

    Nothing in it says that it is the log of load {load}, started {when}.

    Check the file, and send it again with the reason why it is this load's.
    """

    needs_reason = True


def known_load(state: State, act: Act) -> Load:
    load = state.load(act.load)
    if load is None:
        raise LoadNotOpen(load=act.load)
    return load


def packs_in(state: State, load: Load) -> list[Pack]:
    return [pack for code in load.packs if (pack := state.pack(code))]


def against_release(state: State, load: Load) -> list[Refusal]:
    """Every rule that stands against releasing this load, whoever asks."""
    found: list[Refusal] = []
    if load.rejected:
        found.append(LoadRejected(why=load.rejected))
    if load.load_kind not in {None, "goods"}:
        found.append(NotAGoodsLoad(load=load.code, kind=load.load_kind))
    if load.started_at is None:
        return [*found, CycleNotStarted(load=load.code)]
    if load.ended_at is None:
        return [*found, CycleNotEnded(load=load.code)]
    if load.display != "complete":
        found.append(DisplaySaid(load=load.code, display=load.display))
    if load.verdict is None:
        found.append(NotJudged(load=load.code))
    elif load.verdict != "pass":
        found.append(DidNotPass(load=load.code, verdict=load.verdict))
    if missing := not_unloaded(state, load):
        names = ", ".join(f"{name_of(state, pack)} ({pack.code})" for pack in missing)
        found.append(NotAllUnloaded(load=load.code, missing=names))
    return [*found, *_biological(state, load)]


def _biological(state: State, load: Load) -> list[Refusal]:
    if load.biological == "positive":
        return [BiologicalPositive(load=load.code)]
    if load.biological == "negative":
        return []
    implant = next((pack for pack in packs_in(state, load) if pack.implant), None)
    if implant:
        what = (
            "was never placed"
            if load.biological_lot is None
            else (
                f"is void: place and read another, due {load.biological_due}"
                if load.biological == "void"
                else f"is not yet read, due {load.biological_due}"
            )
        )
        return [ImplantWaits(name=name_of(state, implant), load=load.code, what=what)]
    if load.biological_lot and load.biological is None and not state.practice.release_before_biological:
        return [BiologicalUnread(due=load.biological_due)]
    return []


def release(state: State, act: Act) -> list[Fact]:
    """A named person releases a load. After a hold, or again, it takes a reason."""
    load = known_load(state, act)
    person = state.person(act.by)
    if person is None or person.left_at or not person.may_release:
        named = [p.code for p in state.people() if p.may_release and not p.left_at]
        raise MayNotRelease(code=act.by, who=", ".join(named) or "nobody is named yet")
    for refusal in against_release(state, load):
        raise refusal
    if load.released_at and not load.held:
        when = said(state, load.released_at)
        raise AlreadyReleased(when=when, who=load.released_by)
    if load.held and not act.why:
        raise ReasonNeeded(what="Lifting a hold")
    alone = {pack.packed_by for pack in packs_in(state, load)} == {act.by}
    if alone and not state.practice.packer_may_release:
        raise PackerAlone(code=act.by, load=load.code)
    data: dict[str, object] = {"alone": alone}
    if load.held:
        data |= {"why": act.why, "lifts": load.held}
    return [act.fact("released", data, set=None, pack=None)]


def reject(state: State, act: Act) -> list[Fact]:
    """Every pack of the load becomes compromised; the load is never released."""
    load = known_load(state, act)
    if load.rejected:
        raise LoadRejected(why=load.rejected)
    if not act.why:
        raise ReasonNeeded(what="A rejection")
    return [act.fact("rejected", {"why": act.why}, set=None, pack=None)]


def hold(state: State, act: Act) -> list[Fact]:
    """A load is held: none of its packs may be opened until a named person lifts it with a reason."""
    if state.load(act.load) is None:
        raise NotSoSoon(load=act.load)
    if not act.why:
        raise ReasonNeeded(what="A hold")
    return [act.fact("held", {"why": act.why}, set=None, pack=None)]


MEASURES = ("plateau_c_hundredths", "heating_s", "drying_s")
"""What charts follow of a judged cycle besides its hold and F0; null where it was not judged by a log."""


def judge_cycle(state: State, act: Act) -> list[Fact]:
    """A verdict on the cycle. One that fails after release holds the load by rule."""
    load = known_load(state, act)
    if load.started_at is None:
        raise CycleNotStarted(load=load.code)
    keys = ("verdict", "basis", "hold_s", "f0_hundredths", "log_sha256")
    data = {key: act.data[key] for key in keys} | {key: act.data.get(key) for key in MEASURES}
    data |= {key: act.data[key] for key in READ_OFF if key in act.data}
    if "log_began" in act.data:
        data |= _belongs(state, act, load)
    facts = [act.fact("cycle_judged", data, set=None, pack=None)]
    if data["verdict"] != "pass" and load.released_at:
        facts.append(held_by_rule(act, f"a later judgement of its cycle: {data['verdict']}"))
    return facts


READ_OFF = ("lowest_c_hundredths", "highest_c_hundredths")
"""What a person read off a printout besides the hold."""
READ = ("log_began", "log_counter", "mapping", "band", "why", "how")
"""Kept beside a log's verdict: beginning, number, how it was read and judged, why it is this load's, how it came."""


def _belongs(state: State, act: Act, load: Load) -> dict[str, Any]:
    """A log is a load's when it began with it or bears its number, or somebody says why; never another load's."""
    other = state.load_of_log(act.data["log_sha256"])
    if other not in {None, load.code}:
        raise LogUsed(other=other, load=load.code)
    if not act.why and codes.parse(load.code).number != act.data["log_counter"]:
        began, started = act.data["log_began"], str(load.started_at)
        if began is None:
            raise LogUndated(load=load.code, when=said(state, started))
        if abs(moment(began) - moment(started)) > timedelta(minutes=state.practice.log_minutes):
            raise LogElsewhere(began=said(state, began), load=load.code, when=said(state, started))
    return {key: act.data[key] for key in READ if act.data.get(key) is not None}


def held_by_rule(act: Act, why: str) -> Fact:
    return act.fact("held", {"why": why}, set=None, pack=None)


def standing(state: State, load: Load) -> list[tuple[str, str]]:
    """What speaks for, against and not at all: rows of (`for` | `against` | `unseen`, words) for the release page."""
    rows = [("against", f"{refusal.headline} {refusal.why}") for refusal in against_release(state, load)]
    if load.verdict == "pass":
        rows.append(("for", f"cycle judged pass from the {load.basis}: {load.hold_s} s at temperature"))
    packs = packs_in(state, load)
    turned = sum(1 for pack in packs if pack.tape == "turned")
    if packs:
        rows.append(("for", f"tape turned on {turned} of {len(packs)} packs: they went through a cycle, no more"))
    rows += [("against", f"{name_of(state, p)}: {', '.join(p.compromised)}") for p in packs if p.compromised]
    pale = [strip for strip in load.strips if strip.endswith("pale")]
    rows += [("against", f"strip pale: {strip.split()[0]}") for strip in pale]
    unseen = len(packs) - len({strip.split()[0] for strip in load.strips})
    if unseen:
        rows.append(("unseen", f"strips inside: not yet seen in {unseen} of {len(packs)} packs"))
    if load.biological == "negative":
        rows.append(("for", "biological negative"))
    elif load.biological_lot and load.biological in {None, "void"}:
        rows.append(("unseen", f"biological not yet read, due {load.biological_due}"))
    elif load.biological is None:
        rows.append(("unseen", "no biological in this load"))
    if load.held:
        rows.append(("against", f"on hold: {load.held}"))
    return rows + _mass_standing(state, packs) + _machine_standing(state, load)


def _mass_standing(state: State, packs: list[Pack]) -> list[tuple[str, str]]:
    """Whether the load was too heavy, where the site has said what one may weigh."""
    most = state.practice.load_mass_g
    if not most or not packs:
        return []
    masses = [mass_of(state, pack) for pack in packs]
    total, unknown = sum(mass or 0 for mass in masses), masses.count(None)
    if total > most:
        return [("against", f"it weighed {total} g, and {most} g is the most here")]
    if unknown:
        return [("unseen", f"{unknown} of {len(packs)} packs were not weighed")]
    return [("for", f"it weighed {total} g, and {most} g is the most here")]


def _machine_standing(state: State, load: Load) -> list[tuple[str, str]]:
    """What speaks against the machine it went through: out of service, or overdue for something when it ran."""
    machine = state.machine(load.machine)
    if machine is None:
        return []
    rows = [("against", f"{machine.name} is out of service: {machine.stopped}")] if machine.stopped else []
    day = moment(load.started_at).astimezone(state.practice.zone).date().isoformat() if load.started_at else ""
    late = [(what, due) for what, _, due in machine.services if due and day > due]
    return rows + [("against", f"{machine.name} was due for {what} on {due}") for what, due in late]
