"""The machine log: services, parts, water, counters, and the repairs and moves that stop a machine."""

from service.custody.chain import State
from service.custody.facts import Fact
from service.custody.records import Machine
from service.custody.rules.act import Act
from service.custody.rules.anywhere import BadValue, ReasonNeeded, UnknownCode
from service.custody.rules.refusal import Refusal

SERVICES = ("service", "gasket", "filter", "water", "calibration", "repair", "move", "other")
"""What is done to a machine besides its loads."""
STOPS = {
    "repair": "It was repaired: {why}",
    "move": "It was moved: {why}",
}
"""What stops a machine until it is proven again: three consecutive empty cycles with indicators after installing,
moving, major repair or failure. CDC 2008 text, copy at boxhoidap.com/when-sterile-fields-are-prepared-damp-packages."""


class CounterWentBack(Refusal):
    """The counter of a machine does not go back.

    {machine} showed {was} before, and now {now} is told.

    Read it again; a new counter is told with the repair that brought it.
    """


def service_machine(state: State, act: Act) -> list[Fact]:
    """Something was done to a machine. A repair or a move of a steriliser stops it."""
    machine = state.machine(str(act.data["machine"]))
    if machine is None:
        raise UnknownCode(code=act.data["machine"], kind="machine")
    what = str(act.data["what"])
    if what not in SERVICES:
        raise BadValue(what="This service", why=f"{what!r} is not one.", todo=f"Choose among {', '.join(SERVICES)}.")
    if what in STOPS and not act.why:
        raise ReasonNeeded(what="A repair or a move")
    _check_counter(machine, what, act)
    data = {key: act.data.get(key) for key in ("machine", "what", "counter", "next_due", "why")}
    facts = [act.fact("machine_serviced", data)]
    if what in STOPS and machine.kind == "steriliser":
        why = STOPS[what].format(why=act.why)
        facts.append(act.fact("machine_stopped", {"machine": machine.code, "why": why, "prove": True}))
    return facts


def _check_counter(machine: Machine, what: str, act: Act) -> None:
    counter = act.data.get("counter")
    if counter is not None and machine.counter is not None and counter < machine.counter and what != "repair":
        raise CounterWentBack(machine=machine.name, was=machine.counter, now=counter)
