"""The store: which pack lies on which shelf, and which may not."""

from datetime import timedelta

from service.custody.chain import State
from service.custody.facts import Fact, moment
from service.custody.rules.act import Act
from service.custody.rules.anywhere import ask, known_pack, name_of
from service.custody.rules.refusal import Question, Refusal


class NotForTheShelf(Refusal):
    """This pack does not go on a shelf.

    {name} is {state}.

    {todo}
    """


class QuarantineOnly(Refusal):
    """This pack waits for release.

    {name} came out of load {load}, and nobody has released that load yet.

    {todo}
    """


class NeverStored(Refusal):
    """This pack is for use now.

    {name} went through an immediate-use programme; it is never stored.

    Use it now, or pack it again.
    """


class StillWarm(Question):
    """Is {name} cool?

    Its cycle ended {minutes} minutes ago. A warm pack on a cold shelf draws water.

    Show YES if it is cool to the hand, or wait until {cool}.
    """


_TODO = {
    "soiled": "Take it to the wash.",
    "washing": "Take it to the wash.",
    "clean": "Take it to packing.",
    "packed": "Take it to loading.",
    "loaded": "Scan it at unloading first.",
    "opened": "An opened set goes to the wash.",
}


def store_pack(state: State, act: Act) -> list[Fact]:
    """A pack goes on the shelf `act.data["shelf"]`."""
    pack = known_pack(state, act.pack)
    name, where, shelf = name_of(state, pack), state.where(pack), str(act.data["shelf"])
    if pack.compromised:
        raise NotForTheShelf(name=name, state=", ".join(pack.compromised), todo="Pack the set again.")
    if where in _TODO:
        raise NotForTheShelf(name=name, state=where, todo=_TODO[where])
    if pack.wrap == "none":
        raise NeverStored(name=name)
    quarantine = state.practice.quarantine_shelves
    if where == "waiting" and shelf not in quarantine:
        todo = (
            f"Put it on a quarantine shelf: {', '.join(quarantine)}."
            if quarantine
            else "Put it on a quarantine shelf; the site's settings name none yet."
        )
        raise QuarantineOnly(name=name, load=pack.load, todo=todo)
    _cool(state, act, pack.load, name)
    return [act.fact("stored", {"shelf": shelf}, set=pack.set, load=None)]


def _cool(state: State, act: Act, load: str | None, name: str) -> None:
    record = state.load(load)
    if record is None or record.ended_at is None:
        return
    minutes = int((moment(act.at) - moment(record.ended_at)).total_seconds() // 60)
    if minutes < state.practice.cooling_minutes:
        cool = moment(record.ended_at) + timedelta(minutes=state.practice.cooling_minutes)
        local = cool.astimezone(state.practice.zone).strftime("%H:%M")
        ask(act, StillWarm(name=name, minutes=minutes, cool=local))
