"""Overrides: a surgeon takes a stop on, for one patient, and stands for it with the PIN."""

from datetime import timedelta

from service.custody.chain import State
from service.custody.facts import Fact, moment
from service.custody.rules.act import Act
from service.custody.rules.anywhere import known_pack, name_of
from service.custody.rules.refusal import Refusal
from service.custody.rules.theatre import reasons_against


class NoOverride(Refusal):
    """No override opens this pack.

    {why}

    {todo}
    """


class NoReason(Refusal):
    """An override needs its reason.

    It stays on every report for ever.

    Type the reason.
    """


class NothingToConfirm(Refusal):
    """There is no override of yours to confirm here.

    On {name}, turn {turn}, every override by {code} is confirmed, or there is none.

    Look at the pack's page: it names who overrode what.
    """


CONFIRM_WITHIN = timedelta(hours=24)
"""How long the surgeon has to stand for an override with the PIN; later it is marked late (DESIGN 3)."""


def override(state: State, act: Act) -> list[Fact]:
    """A surgeon takes a stop on, for this patient, with a reason typed by whoever circulates.

    One fact for each rule that stands against the pack; unconfirmed until the surgeon's PIN. That it takes a surgeon
    stands in the table of roles.
    """
    pack = known_pack(state, act.pack)
    against = reasons_against(state, pack, act.at)
    for refusal in against:
        if not refusal.overridable:
            raise NoOverride(why=f"{refusal.headline} {refusal.why}", todo=refusal.step)
    if not act.why:
        raise NoReason
    data = {
        "why": act.why,
        "confirmed": False,
        "case": act.data["case"],
        "typed_by": act.data.get("typed_by"),
    }
    return [act.fact("overridden", {"rule": r.rule} | data, set=pack.set, load=None) for r in against]


def confirm_override(state: State, act: Act) -> list[Fact]:
    """The surgeon stands for the overrides of this pack that were shown the surgeon's badge. It takes the PIN."""
    pack = known_pack(state, act.pack)
    waiting = [fact for fact in unconfirmed(state.history("pack", pack.code)) if fact.by == act.by]
    if not waiting:
        raise NothingToConfirm(name=name_of(state, pack), turn=pack.turn, code=act.by)
    return [
        act.fact("override_confirmed", {"of": fact.id, "late": is_late(fact, act.at)}, set=pack.set, load=None,
                 patient=fact.patient)
        for fact in waiting
    ]  # fmt: skip


def unconfirmed(facts: list[Fact]) -> list[Fact]:
    """The overrides among the facts of a pack that nobody has stood for with a PIN."""
    stood_for = {fact.data["of"] for fact in facts if fact.kind == "override_confirmed"}
    return [fact for fact in facts if fact.kind == "overridden" and fact.id not in stood_for]


def is_late(overridden: Fact, at: str) -> bool:
    """Whether `at` is more than a day after this override."""
    return moment(at) - moment(overridden.at) > CONFIRM_WITHIN
