"""Rules that hold at every station, and the looks at the ledger that the others share."""

from service.custody.chain import State
from service.custody.facts import Fact, moment
from service.custody.records import InstrumentSet, Machine, Pack
from service.custody.rules.act import Act
from service.custody.rules.refusal import Question, Refusal


class UnknownCode(Refusal):
    """This code is not in the ledger.

    {code} is well formed, but no {kind} was ever registered or begun under it here.

    Set it aside and show it to the office.
    """


class NotOnStaff(Refusal):
    """This badge is not in use.

    {code} is not enrolled here, or its owner has left.

    Scan the badge of someone who works here.
    """


class NothingToUndo(Refusal):
    """There is nothing to take back.

    This station has written nothing since it started, or its last scan was taken back already.

    Go on with the next scan.
    """


class TooLateToUndo(Refusal):
    """It is too late to take that back.

    A scan can be taken back within {minutes} minutes; this one is older.

    Ask the office to add a note to the record.
    """


class NeverUndone(Refusal):
    """That cannot be taken back.

    {what} stays in the record, so that bad news is never lost by a slip of the hand.

    If it was a mistake, tell the office: they can add a note beside it.
    """


class BuiltOn(Refusal):
    """That cannot be taken back any more.

    {code} has moved on since: {kind} was recorded after it.

    Tell the office if the earlier scan was wrong.
    """


class IsTheWrapUnbroken(Question):
    """Is the wrap of {name} unbroken?

    The record says this pack was opened. Only a pack still sealed may be un-opened.

    Show YES if the wrap is unbroken, NO if it is not.
    """


class NothingWrong(Refusal):
    """This pack is not packed yet.

    {name} has no wrap that could be wet, torn or dropped: by the record it is {state}.

    Go on with the work at hand.
    """


class MachineUnknown(Refusal):
    """This load card is for a machine nobody registered.

    {machine} is not one of this site's machines, or not of the kind that takes such a load.

    Take the cards of a machine that stands here, or ask the office.
    """


class MachineStopped(Refusal):
    """This machine is out of service.

    {machine} was stopped: {why}.

    Use another machine, or ask the office.
    """


class LoadUsed(Refusal):
    """This load card has been used.

    Load {load} {what}. A card stands for one load only.

    Take the next card.
    """


class LoadNotOpen(Refusal):
    """This load is not open.

    Nothing was ever put in load {load}.

    Scan the packs or sets into it first.
    """


class EmptyLoad(Refusal):
    """There is nothing in this load.

    Nothing was scanned into load {load}, so nothing can have been done to it.

    Scan what is in the machine first.
    """


class SetRetired(Refusal):
    """This set is retired.

    {name} was taken out of use: {why}.

    Put it aside and ask the office.
    """


class ReasonNeeded(Refusal):
    """A reason is needed.

    {what} is kept for ever with its reason.

    Say why.
    """


class BadValue(Refusal):
    """{what} cannot be taken.

    {why}

    {todo}
    """


def name_of(state: State, pack: Pack) -> str:
    """What people call a pack: the name of its set."""
    owner = state.set(pack.set)
    return owner.name if owner else pack.set


def said(state: State, at: str) -> str:
    """A time inside a sentence: `on 4 March at 10:12`."""
    local = moment(at).astimezone(state.practice.zone)
    return f"on {local:%-d %B} at {local:%H:%M}"


def ask(act: Act, question: Question) -> None:
    """Raise `question` unless it was answered, with its reason where it needs one."""
    if question.rule not in act.confirmed or (question.needs_reason and not act.why):
        raise question


def registered_set(state: State, code: str | None) -> InstrumentSet:
    found = state.set(code)
    if found is None:
        raise UnknownCode(code=code, kind="set")
    if found.retired:
        raise SetRetired(name=found.name, why=found.retired)
    return found


def known_pack(state: State, code: str | None) -> Pack:
    found = state.pack(code)
    if found is None:
        raise UnknownCode(code=code, kind="pack")
    return found


def working_machine(state: State, load: str, kinds: tuple[str, ...], *, proving: bool = False) -> Machine:
    """The machine of a load. One that must be proven works for proving loads and tests only (`proving`)."""
    machine = state.machine(load[:6])
    if machine is None or machine.kind not in kinds:
        raise MachineUnknown(machine=load[:6])
    if machine.stopped and not (proving and machine.prove_since):
        raise MachineStopped(machine=machine.name, why=machine.stopped)
    return machine


def on_staff(state: State, act: Act) -> list[Fact]:
    """Sign-on writes nothing: the facts that follow carry the badge."""
    person = state.person(act.by)
    if person is None or person.left_at:
        raise NotOnStaff(code=act.by)
    return []


DAMAGE = ("wet", "torn", "dropped", "missing")


def compromise(state: State, act: Act) -> list[Fact]:
    """A pack found wet, torn, dropped or missing. What was said of it at unloading gets a note, and stays."""
    pack = known_pack(state, act.pack)
    why = str(act.data["why"])
    if why not in DAMAGE:
        raise BadValue(what="This", why=f"{why!r} is not how a pack is lost.", todo=f"Say {', '.join(DAMAGE)}.")
    if pack.packed_at is None:
        raise NothingWrong(name=name_of(state, pack), state=state.where(pack))
    if why in pack.compromised:
        return []
    keys: dict[str, str | None] = {"set": pack.set, "load": pack.load, "pack": pack.code}
    facts = [act.fact("compromised", {"why": why}, **keys)]
    said = [f for f in state.history("pack", pack.code) if f.kind == "unloaded" and f.station == act.station]
    if said and why in {"wet", "torn"}:
        facts.append(act.fact("amended", {"of": said[-1].id, "undo": False, "why": why}, **keys))
    load = state.load(pack.load)
    if why == "wet" and state.practice.wet_condemns == "load" and load and load.ended_at and not load.rejected:
        reason = f"{pack.code} came out wet, and this site condemns the load for it"
        facts.append(act.fact("rejected", {"why": reason}, load=load.code, set=None, pack=None))
    return facts


UNDOABLE = frozenset(
    [
        "received",
        "wash_loaded",
        "wash_ended",
        "inspected",
        "packed",
        "labelled",
        "loaded",
        "taken_out",
        "cycle_started",
        "cycle_ended",
        "unloaded",
        "indicator_read",
        "stored",
        "opened",
        "returned",
        "counted",
        "case_opened",
        "case_closed",
    ]
)
_BAD_NEWS = {"fail", "pale", "positive", "fault", "aborted"}


def undo(state: State, act: Act) -> list[Fact]:
    """Take back this station's last scan: `act.data["facts"]` are the ids of what it wrote."""
    targets = [fact for fact_id in act.data["facts"] if (fact := state.fact(fact_id))]
    if not targets:
        raise NothingToUndo
    if (moment(act.at) - moment(targets[-1].at)).total_seconds() > state.practice.undo_seconds:
        raise TooLateToUndo(minutes=state.practice.undo_seconds // 60)
    for target in targets:
        _may_be_undone(state, target, {t.id for t in targets})
    opened = next((t for t in targets if t.kind == "opened"), None)
    if opened and (pack := state.pack(opened.pack)):
        ask(act, IsTheWrapUnbroken(name=name_of(state, pack)))
    return [
        act.fact(
            "amended",
            {"of": t.id, "undo": True, "why": "taken back at the station"}
            | ({"case": t.data["case"]} if "case" in t.data else {}),
            set=t.set, pack=t.pack, load=t.load, patient=t.patient,
        )
        for t in reversed(targets)
    ]  # fmt: skip


def _may_be_undone(state: State, target: Fact, together: set[str]) -> None:
    if target.kind not in UNDOABLE:
        raise NeverUndone(what=f"What was recorded ({target.kind.replace('_', ' ')})")
    if _BAD_NEWS & {target.data.get("result"), target.data.get("display"), target.data.get("tape")}:
        raise NeverUndone(what="Bad news")
    if target.kind == "inspected" and not (target.data["clean"] and target.data["dry"] and target.data["works"]):
        raise NeverUndone(what="What the inspection found")
    for kind, code in (("pack", target.pack), ("load", target.load), ("case", target.data.get("case"))):
        if code is None:
            continue
        for later in reversed(state.history(kind, code)):
            if later.seq <= target.seq:
                break
            if later.id in together or later.kind in {"refused", "label_printed"}:
                continue
            if kind == "load" and target.pack is not None and later.pack is not None:
                continue
            if kind == "case" and target.kind != "case_opened" and later.kind != "case_closed":
                continue
            raise BuiltOn(code=code, kind=later.kind.replace("_", " "))
    _packs_of_it_stand_still(state, target)


def _packs_of_it_stand_still(state: State, target: Fact) -> None:
    """What was said of a whole load stands once any of its packs has gone further."""
    load = state.load(target.load) if target.pack is None else None
    for code in load.packs if load else ():
        pack = state.pack(code)
        if pack and pack.seq > target.seq:
            raise BuiltOn(code=code, kind="a later step")
