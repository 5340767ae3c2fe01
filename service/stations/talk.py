"""One scan at one station: what was heard, what is in hand, and the ways to answer."""

from dataclasses import dataclass, field
from typing import Any

from label_templates.codes import Code
from service.custody.chain import State
from service.custody.facts import Fact, moment
from service.custody.records import Pack
from service.custody.rules import Act, Question, Refusal, decide
from service.custody.rules.anywhere import name_of
from service.custody.rules.roles import PIN
from service.ledger.batch import Part
from service.stations.hand import Hand
from service.stations.scan import Scan

GO, ASK, STOP = "go", "ask", "stop"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a station says: a verdict, one sentence, one of why, and the next right step."""

    verdict: str
    headline: str
    detail: str = ""
    next: str = ""
    subject: str | None = None
    rule: str | None = None
    title: str | None = None
    """What the list of last scans calls it."""


class PinWanted(Question):
    """The PIN of {badge}?

    To {does} takes the badge and its PIN.

    Type it, or show its digits and DONE. NO leaves it.
    """

    def __init__(self, badge: str, does: str) -> None:
        super().__init__(badge=badge, does=does)
        self.badge = badge


class StillThisLoad(Question):
    """Still load {number}?

    It was begun {when} and never finished.

    Show YES to go on with it, or NO and scan another load card.
    """


@dataclass(frozen=True, slots=True)
class Here:
    """What is set up: whether stations ask for PINs, and whether the service prints labels."""

    pins: bool = False
    prints: bool = False


@dataclass(slots=True)
class Talk:
    """A scan being answered. Where PINs are asked for, an act that takes one is done by who has just `proved` it.

    `typed` says that a person typed the code.
    """

    scan: Scan
    hand: Hand
    part: Part
    here: Here = Here()
    typed: bool = False
    proved: str | None = None
    code: Code | None = None
    confirmed: frozenset[str] = frozenset()
    why: str | None = None
    noted: list[Fact] = field(default_factory=list)

    @property
    def state(self) -> State:
        return self.part.state

    def act(self, does: str, data: dict[str, Any] | None = None, **keys: str | None) -> Act:
        """An act of the person working here, with the reason and the answers given so far."""
        told = dict(data or {})
        if self.why:
            told.setdefault("why", self.why)
        return Act(
            does,
            self.scan.at,
            self.state.practice.site,
            self.scan.station,
            by=keys.get("by", self.hand.badge),
            set=keys.get("set"),
            pack=keys.get("pack"),
            load=keys.get("load"),
            patient=keys.get("patient"),
            data=told,
            confirmed=self.confirmed,
        )

    def do(self, does: str, data: dict[str, Any] | None = None, **keys: str | None) -> list[Fact]:
        """Let the rules decide, and write what they give. Raises the Refusal when they refuse, or PinWanted."""
        act = self.act(does, data, **keys)
        outcome = decide(self.state, act)
        if isinstance(outcome, Refusal):
            raise outcome
        if self.here.pins and does in PIN and act.by and self.proved != act.by:
            raise PinWanted(act.by, does)
        if self.scan.clock:
            for fact in outcome:
                fact.data["clock"] = self.scan.clock
        noted = self.part.note(outcome)
        self.noted.extend(noted)
        return noted

    def still(self, load_code: str) -> None:
        """Ask once whether a load left open on an earlier day is the one meant. Raises StillThisLoad."""
        load, zone = self.state.load(load_code), self.state.practice.zone
        if load is None or self.hand.work.get("still") == load_code:
            return
        began = moment(load.began_at).astimezone(zone)
        if began.date() == moment(self.scan.at).astimezone(zone).date():
            return
        question = StillThisLoad(number=number_of(load_code), when=began.strftime("on %-d %B at %H:%M"))
        if question.rule not in self.confirmed:
            raise question
        self.hand.work["still"] = load_code

    def go(self, headline: str, detail: str = "", then: str = "", title: str | None = None) -> Answer:
        return Answer(GO, headline, detail, then, self.subject, title=title)

    def ask(self, headline: str, detail: str = "", then: str = "", rule: str | None = None) -> Answer:
        return Answer(ASK, headline, detail, then, self.subject, rule)

    def stop(self, rule: str, headline: str, detail: str = "", then: str = "") -> Answer:
        return Answer(STOP, headline, detail, then, self.subject, rule)

    @property
    def subject(self) -> str | None:
        return self.code.text if self.code else None

    def pack_name(self, code: str) -> str:
        pack = self.state.pack(code)
        return name_of(self.state, pack) if pack else code

    def set_name(self, code: str) -> str:
        owner = self.state.set(code)
        return owner.name if owner else code

    def called(self, pack: Pack) -> str:
        return f"{name_of(self.state, pack)}, turn {pack.turn}"

    def minutes_since(self, at: str | None) -> float:
        """Minutes from `at` to this scan; endless when there is no such time."""
        return (moment(self.scan.at) - moment(at)).total_seconds() / 60 if at else float("inf")

    def local(self, at: str) -> str:
        return moment(at).astimezone(self.state.practice.zone).strftime("%H:%M")


def number_of(load: str) -> str:
    """How people say a load: its four digits."""
    return load[7:11]
