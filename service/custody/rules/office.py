"""The office: what the practice owns, who works there, and recalls."""

import re
from collections.abc import Mapping
from typing import Any

from label_templates import codes
from service.custody.chain import State
from service.custody.facts import Fact
from service.custody.recall import REACHES, reach_of
from service.custody.records import Machine, Recall
from service.custody.rules.act import Act
from service.custody.rules.anywhere import BadValue, LoadNotOpen, ReasonNeeded, UnknownCode, known_pack, said
from service.custody.rules.issuing import stop_if_voided
from service.custody.rules.refusal import Refusal
from service.custody.rules.roles import ROLES


class AlreadyThere(Refusal):
    """{code} is registered already.

    A code stands for one thing only.

    Choose another.
    """


class NameTaken(Refusal):
    """A set of this name is registered already.

    {name} is {code}.

    Give it a name of its own, or print the tag of that set again by its code.
    """


class RecallClosed(Refusal):
    """This recall is closed.

    {recall} was closed {when}.

    Open a new one if more has come to light.
    """


class RecallOpen(Refusal):
    """This recall is not finished.

    {count} packs are not accounted for yet: {missing}.

    Account for each, then close it.
    """


class NotProven(Refusal):
    """This machine is not proven yet.

    {machine} was stopped: {why}. Of {needed} proving loads in a row, {done} are negative so far.

    Run a proving load in the empty chamber, with a biological, and read it.
    """


PROVING_LOADS = 3
"""Empty cycles with a biological in a row after a move, a repair or a failure. CDC 2008 text, copy at
boxhoidap.com/when-sterile-fields-are-prepared-damp-packages (READ-2)."""
MACHINE_KINDS = {"washer": "W", "hand": "W", "steriliser": "L"}
SET_KINDS = ("set", "single", "split", "textile")


def open_site(state: State, act: Act) -> list[Fact]:
    """The first fact of a site's chain."""
    if state.site(act.site):
        raise AlreadyThere(code=act.site)
    return [act.fact("site_opened", {"name": state.practice.name})]


def name_key(state: State, act: Act) -> list[Fact]:
    """The public key that signs this site's checkpoints from here on; `vouched` is the old key's signature on it."""
    site = state.site(act.site)
    key = str(act.data["key"])
    if site is None or not re.fullmatch("[0-9a-f]{64}", key):
        raise BadValue(what="This key", why="it is not 64 hex digits of a site that is open.", todo="Make one anew.")
    if site.key == key:
        raise AlreadyThere(code=key[:16])
    return [act.fact("key_named", {"key": key, "was": site.key, "vouched": act.data.get("vouched")})]


def enrol_staff(state: State, act: Act) -> list[Fact]:
    badge = codes.parse_as(str(act.data["badge"]), "B").text
    stop_if_voided(state, badge)
    roles = list(act.data["roles"])
    if strange := [role for role in roles if role not in ROLES]:
        todo = f"Choose among {', '.join(ROLES)}."
        raise BadValue(what="This role", why=f"{strange[0]!r} is not one.", todo=todo)
    data = {"badge": badge, "roles": roles, "may_release": bool(act.data.get("may_release"))}
    return [act.fact("staff_enrolled", data)]


def staff_left(state: State, act: Act) -> list[Fact]:
    badge = str(act.data["badge"])
    if state.person(badge) is None:
        raise UnknownCode(code=badge, kind="person")
    return [act.fact("staff_left", {"badge": badge})]


def register_machine(state: State, act: Act) -> list[Fact]:
    del state
    data = dict(act.data)
    letter = MACHINE_KINDS.get(data["kind"])
    if letter is None:
        raise BadValue(what="This machine", why=f"{data['kind']!r} is not a kind of machine.",
                       todo=f"Choose among {', '.join(MACHINE_KINDS)}.")  # fmt: skip
    machine = str(data["machine"])
    codes.load_code(machine, 0)
    if machine[0] != letter:
        raise BadValue(what="This machine", why=f"A {data['kind']} is named {letter}-{act.site}-1, not {machine}.",
                       todo="Give it a name of its kind.")  # fmt: skip
    keys = ("machine", "kind", "removal", "name", "programmes", "steps")
    return [act.fact("machine_registered", {key: data.get(key) for key in keys})]


def stop_machine(state: State, act: Act) -> list[Fact]:
    _machine(state, act)
    if not act.why:
        raise ReasonNeeded(what="Stopping a machine")
    return [act.fact("machine_stopped", {"machine": act.data["machine"], "why": act.why})]


def return_machine(state: State, act: Act) -> list[Fact]:
    """A machine goes back into service; one that must be proven, after three negative proving loads in a row."""
    machine = state.machine(str(act.data["machine"]))
    if machine is None:
        raise UnknownCode(code=act.data["machine"], kind="machine")
    if machine.prove_since and (proven := proving(state, machine)) < PROVING_LOADS:
        raise NotProven(machine=machine.name, why=machine.stopped, done=proven, needed=PROVING_LOADS)
    return [act.fact("machine_returned", {"machine": act.data["machine"], "why": act.why})]


def proving(state: State, machine: Machine) -> int:
    """How many proving loads begun since the machine stopped are negative in a row, counted back from the last."""
    loads = [one for one in state.loads_of(machine.code) if one.load_kind == "proving"]
    since = sorted((one.started_seq, one.biological) for one in loads if one.started_seq > machine.prove_since)
    count = 0
    for _, result in reversed(since):
        if result != "negative":
            break
        count += 1
    return count


def _machine(state: State, act: Act) -> None:
    if state.machine(str(act.data["machine"])) is None:
        raise UnknownCode(code=act.data["machine"], kind="machine")


def register_set(state: State, act: Act) -> list[Fact]:
    """A new set, with the next serial of the site unless `act.set` names one."""
    number = codes.parse_as(act.set, "S").number if act.set else _next_serial(state, act)
    return [_registered(state, act, act.data, int(number or 0))]


def register_sets(state: State, act: Act) -> list[Fact]:
    """New sets with the next serials, all or none: `act.data["sets"]`, each as `register_set` takes one."""
    named = {owner.name: owner.code for owner in state.sets() if not owner.retired}
    first, facts = _next_serial(state, act), []
    for number, data in enumerate(act.data["sets"], first):
        if data["name"] in named:
            raise NameTaken(name=data["name"], code=named[data["name"]])
        facts.append(_registered(state, act, data, number))
        named[data["name"]] = str(facts[-1].set)
    return facts


def _next_serial(state: State, act: Act) -> int:
    site = state.site(act.site)
    return (site.set if site else 0) + 1


def _registered(state: State, act: Act, data: Mapping[str, Any], number: int) -> Fact:
    code = codes.set_code(act.site, number).text
    if state.set(code):
        raise AlreadyThere(code=code)
    if data["kind"] not in SET_KINDS:
        raise BadValue(what="This set", why=f"{data['kind']!r} is not a kind of set.",
                       todo=f"Choose among {', '.join(SET_KINDS)}.")  # fmt: skip
    _check_sheet(data["sheet"])
    keys = ("name", "kind", "implant", "sheet", "mark", "wrap", "bears_c", "hollow", "immersible")
    return act.fact("set_registered", {key: data.get(key) for key in keys} | {"number": number}, set=code)


def _check_sheet(sheet: list[dict[str, Any]]) -> None:
    names = [line["line"] for line in sheet]
    if len(set(names)) != len(names) or not names:
        raise BadValue(what="This count sheet", why="Every line needs a name of its own, and there must be one.",
                       todo="Name each line once.")  # fmt: skip


def change_set(state: State, act: Act) -> list[Fact]:
    """A new count sheet for a set, with the reason. What is packed already keeps the lines it was counted on."""
    owner = state.set(act.set)
    if owner is None or owner.retired:
        raise UnknownCode(code=act.set, kind="set in use")
    if not act.why:
        raise ReasonNeeded(what="Changing a count sheet")
    sheet = list(act.data["sheet"])
    _check_sheet(sheet)
    return [act.fact("set_changed", {"sheet": sheet, "why": act.why})]


def retire_set(state: State, act: Act) -> list[Fact]:
    if state.set(act.set) is None:
        raise UnknownCode(code=act.set, kind="set")
    if not act.why:
        raise ReasonNeeded(what="Retiring a set")
    return [act.fact("set_retired", {"why": act.why})]


def identify_patient(state: State, act: Act) -> list[Fact]:
    """A provisional patient code turns out to be a known patient."""
    was = str(act.data["was"])
    if state.known_as(str(act.patient)) == was:
        raise BadValue(what="This identification", why=f"{act.patient} is already known as {was}.",
                       todo="Give the provisional code as what it was.")  # fmt: skip
    return [act.fact("patient_identified", {"was": was})]


def open_recall(state: State, act: Act) -> list[Fact]:
    """A recall opens, and every pack it reaches is recalled. It is not reversible."""
    load = state.load(act.load)
    reach = str(act.data["reach"])
    if load is None:
        raise LoadNotOpen(load=act.load)
    if not act.why:
        raise ReasonNeeded(what="A recall")
    if reach not in REACHES:
        raise BadValue(what="This reach", why=f"{reach!r} is not one.", todo=f"Choose among {', '.join(REACHES)}.")
    name = f"{load.code}/{len(load.recalls) + 1}"
    packs = reach_of(state, load, reach).packs
    opened = act.fact("recall_opened", {"recall": name, "reach": reach, "why": act.why}, set=None, pack=None)
    return [
        opened,
        *(act.fact("recalled", {"recall": name}, set=p.set, pack=p.code, load=None) for p in packs),
    ]


def _open_recall(state: State, act: Act) -> Recall:
    recall = state.recall(str(act.data["recall"]))
    if recall is None:
        raise UnknownCode(code=act.data["recall"], kind="recall")
    if recall.closed_at:
        when = said(state, recall.closed_at)
        raise RecallClosed(recall=recall.code, when=when)
    return recall


def account(state: State, act: Act) -> list[Fact]:
    """A pack of a recall is accounted for: found on a shelf, taken apart, its patient's owner called."""
    recall = _open_recall(state, act)
    pack = known_pack(state, act.pack)
    if pack.code not in recall.packs:
        raise UnknownCode(code=pack.code, kind="pack of this recall")
    if pack.code in recall.accounted:
        return []
    data = {"recall": recall.code, "found": act.data.get("found")}
    return [act.fact("accounted", data, set=pack.set, load=None)]


def close_recall(state: State, act: Act) -> list[Fact]:
    recall = _open_recall(state, act)
    missing = [code for code in recall.packs if code not in recall.accounted]
    if missing:
        raise RecallOpen(count=len(missing), missing=", ".join(missing))
    return [act.fact("recall_closed", {"recall": recall.code, "why": act.why}, load=recall.load)]
