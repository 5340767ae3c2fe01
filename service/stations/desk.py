"""The desk: the way in for scans and for the office's acts, and the way out to the stations' screens."""

import logging
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime
from typing import Any, Protocol

from service.custody.facts import Fact, moment, stamp
from service.custody.practice import Practice
from service.custody.records import InstrumentSet, Load, Machine, Pack
from service.custody.rules import Act, Refusal, decide, refused
from service.custody.rules.issuing import codes_of
from service.ledger.batch import Batch, Part
from service.ledger.ids import is_uuid
from service.ledger.store import Ledger
from service.stations import scan as scans
from service.stations.conversation import hear
from service.stations.pins import Given, Pins, Prove
from service.stations.scan import Scan, ScanError, happened_at, station_name
from service.stations.talk import Here
from service.stations.writer import Clock, Done, Work, Writer, utc_now

log = logging.getLogger("foldmark")
Listener = Callable[[str, dict[str, Any]], None]
Watcher = Callable[[list[Fact]], None]
Beside = Callable[[Batch, str | None], None]
"""Writes what stands beside the facts of an act, told the code the act was about: it may be one issued this moment."""


class Printer(Protocol):
    """Where labels come out."""

    def pack(self, owner: InstrumentSet, pack: Pack, copy: int = 1) -> None:
        """The label of a pack that was packed; from the second on it says which copy it is."""
        ...

    def slip(self, load: Load, machine: Machine | None, pack: Pack) -> None:
        """The slip that tells a loaded pack's load and use-by."""
        ...


class Desk:
    """Everything that may be asked of an open ledger. Start it, use it from any thread, close it."""

    def __init__(
        self, ledger: Ledger, practice: Practice, clock: Clock = utc_now, printer: Printer | None = None, *,
        closes: bool = True,
    ) -> None:  # fmt: skip
        """A desk over an open ledger; closing it closes the ledger, unless it was told that this is another's."""
        self.ledger = ledger
        self.practice = practice
        self.clock = clock
        self._printer = printer
        self._closes = closes
        self._listeners: list[Listener] = []
        self._watchers: list[Watcher] = []
        self._pins: Pins | None = None
        self._writer = Writer(ledger, clock, self._told)
        self.logs_asked: Callable[[], int] = lambda: 0
        """How many cycle logs wait in a watched folder for somebody to say whose they are."""
        self.delays: dict[str, tuple[float, datetime]] = {}
        """By station: how many seconds its last scan waited to be sent, and when it came."""
        self._printing = ThreadPoolExecutor(1, thread_name_prefix="labels")

    def start(self) -> "Desk":
        self._writer.start()
        return self

    def close(self) -> None:
        self._printing.shutdown(wait=True)
        if self._pins:
            self._pins.close()
        self._writer.close()
        if self._closes:
            self.ledger.close()

    @property
    def waiting(self) -> int:
        return self._writer.waiting

    def measure(self, measured: Callable[[float, int], None]) -> None:
        """Have every commit's seconds and number of scans told to `measured`, on the writer's thread."""
        self._writer.measured = measured

    def listen(self, listener: Listener) -> None:
        """Have `listener(station, answer)` called, on the writer's thread, for every answer once it is durable."""
        self._listeners.append(listener)

    def forget(self, listener: Listener) -> None:
        self._listeners.remove(listener)

    def watch(self, watcher: Watcher) -> None:
        """Have `watcher(facts)` called, on the writer's thread, for whatever wrote facts, the office's acts as well."""
        self._watchers.append(watcher)

    def unwatch(self, watcher: Watcher) -> None:
        self._watchers.remove(watcher)

    def ask_pins(self, prove: Prove) -> None:
        """From here on, stations ask for the PIN of who does what takes one."""
        self._pins = Pins(prove)

    def scan(self, body: dict[str, Any], address: str = "") -> "Future[dict[str, Any]]":
        """Answer a scan that came from `address`. Raises ScanError at once when its body cannot be taken."""
        now = self.clock()
        scan = scans.take(body, now)
        self.delays[scan.station] = ((now - moment(scan.at)).total_seconds(), now)
        if self._pins and (answer := self._pins.take(scan, address, self._given)):
            return answer
        return self._hear(scan)

    def _given(self, scan: Scan, given: Given) -> "Future[dict[str, Any]]":
        return self._hear(replace(scan, code="="), given)

    def _hear(self, scan: Scan, given: Given | None = None) -> "Future[dict[str, Any]]":
        def work(batch: Batch, part: Part) -> Done:
            answer = hear(batch, part, scan, given, Here(self._pins is not None, self._printer is not None))
            return Done(answer, scan.station, part.noted)

        return self._writer.submit(scan.id, work, scan.code)

    def act(
        self, act_id: str, does: str, *, by: str | None, body: dict[str, Any], beside: Beside | None = None,
        **keys: str | None,
    ) -> "Future[dict[str, Any]]":  # fmt: skip
        """Let the office do something. `beside` writes what stands beside the ledger, names and logs, with the facts.

        The answer has a scan's form, and `codes` where codes were issued. Raises ScanError at once when
        the id, station or time cannot be taken.
        """
        if not is_uuid(act_id):
            raise ScanError("id", f"{act_id[:40]!r} is not a UUID in lower case")
        station = station_name(body.get("station") or "office-1")
        at, clock = happened_at(body.get("seen_at"), body.get("sent_at"), self.clock())
        site = self.practice.site
        act = Act(
            does, at, site, station, by, keys.get("set"), keys.get("pack"), keys.get("load"), keys.get("patient"), body
        )

        def work(batch: Batch, part: Part) -> Done:
            outcome = decide(part.state, act)
            subject = act.pack or act.load or act.set or act.patient or body.get("code")
            if isinstance(outcome, Refusal):
                part.note([refused(act, subject, outcome)])
                return Done(_said(outcome.verdict, outcome, act, subject, part.noted), "", part.noted)
            if clock:
                for fact in outcome:
                    fact.data["clock"] = clock
            part.note(outcome)
            made = [code for fact in part.noted for code in _made(fact)]
            subject = made[0] if made else subject
            if beside:
                beside(batch, subject)
            answer = _said("go", None, act, subject, part.noted)
            return Done(answer | {"codes": made} if does in _ISSUES else answer, "", part.noted)

        return self._writer.submit(act_id, work)

    def beside(self, act_id: str, beside: Callable[[Batch], None], answer: dict[str, Any]) -> "Future[dict[str, Any]]":
        """Write only beside the ledger: a patient's name."""

        def work(batch: Batch, _part: Part) -> Done:
            beside(batch)
            return Done(answer)

        return self._writer.submit(act_id, work)

    def probe(self, work: Work) -> "Future[dict[str, Any]]":
        """Put `work` through the writer, whose answer is not kept."""
        return self._writer.submit("probe", work, keeps=False)

    def check(self) -> "Future[dict[str, Any]]":
        """Write the time of this check beside the facts: the future fails when the ledger cannot be written."""

        def work(batch: Batch, _part: Part) -> Done:
            batch.about["checked"] = batch.noted_at
            return Done({})

        return self.probe(work)

    def _told(self, done: Done) -> None:
        if self._pins and done.station:
            self._pins.heard(done.station, done.body)
        for station, answer in [(done.station, done.body), *done.late.items()]:
            if station:
                for listener in list(self._listeners):
                    listener(station, answer)
        for watcher in list(self._watchers) if done.noted else ():
            watcher(done.noted)
        for fact in done.noted if self._printer else ():
            if fact.kind == "packed":
                self._printing.submit(self._print_pack, str(fact.pack), fact.station, stamp(self.clock()))
            elif fact.kind == "label_printed" and fact.pack and not done.printed:
                self._printing.submit(self._draw_pack, fact.pack, fact.data["copy"])
            elif fact.kind == "cycle_started" and fact.data["load_kind"] == "goods":
                self._printing.submit(self._print_slips, str(fact.load))

    def _print_pack(self, code: str, station: str, at: str) -> None:
        """Print the label of a pack that was just packed: the fact is written once the label is there."""
        if not self._draw_pack(code, 1):
            return
        act = Act("print label", at, self.practice.site, station, pack=code)

        def work(_batch: Batch, part: Part) -> Done:
            outcome = decide(part.state, act)
            if not isinstance(outcome, Refusal):
                part.note(outcome)
            return Done({"verdict": "go"}, "", part.noted, printed=True)

        self._writer.submit(f"label {code} {at}", work)

    def _draw_pack(self, code: str, copy: int) -> bool:
        """Have the printer print a pack's label; whether it did."""
        try:
            with self.ledger.reading() as reader:
                pack = reader.state.pack(code)
                owner = reader.state.set(pack.set) if pack else None
            if self._printer and pack and owner:
                self._printer.pack(owner, pack, copy)
        except Exception:
            log.exception("label not printed")
            return False
        return True

    def _print_slips(self, code: str) -> None:
        try:
            with self.ledger.reading() as reader:
                load = reader.state.load(code)
                machine = reader.state.machine(load.machine) if load else None
                packs = [pack for one in (load.packs if load else ()) if (pack := reader.state.pack(one))]
            if self._printer and load:
                for pack in packs:
                    self._printer.slip(load, machine, pack)
        except Exception:
            log.exception("load slips not printed")


_ISSUES = {"issue codes", "register sets"}


def _made(fact: Fact) -> list[str]:
    """The codes that came into use with a fact."""
    match fact.kind:
        case "codes_issued":
            return codes_of(fact)
        case "set_registered":
            return [str(fact.set)]
        case "recall_opened":
            return [str(fact.data["recall"])]
    return []


def _said(verdict: str, refusal: Refusal | None, act: Act, subject: str | None, noted: Iterable[Any]) -> dict[str, Any]:
    kinds = ", ".join(dict.fromkeys(fact.kind.replace("_", " ") for fact in noted)) or "nothing new"
    return {
        "verdict": verdict,
        "headline": refusal.headline if refusal else f"Recorded: {kinds}.",
        "detail": refusal.why if refusal else "",
        "next": refusal.step if refusal else "",
        "subject": subject,
        "facts": [fact.id for fact in noted],
        "rule": refusal.rule if refusal else None,
        "at": act.at,
    }
