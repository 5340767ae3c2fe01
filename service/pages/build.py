"""From the ledger to views: what a page shows is read here, and nothing is decided."""

from collections.abc import Callable
from datetime import date, timedelta

from label_templates import codes
from label_templates.codes import CodeError
from label_templates.symbols import qr
from service.custody.chain import CIRCLE, STEP_WORDS, custody_facts, expired, gaps, step_of, use_by
from service.custody.facts import Fact, moment
from service.custody.recall import REACHES, report
from service.custody.records import InstrumentSet, Load, Pack
from service.custody.rules.loading import not_unloaded
from service.custody.rules.release import against_release, standing
from service.ledger.store import Reader
from service.pages import drawing
from service.pages.drawing import Stop
from service.pages.views import (
    BoardPage,
    FactRow,
    LoadLine,
    LoadPage,
    LoadsPage,
    Need,
    PackLine,
    PackPage,
    RecallPage,
    RecallsPage,
    SearchPage,
    Segment,
    SetPage,
    Tile,
)
from service.stations.store import shelf_name
from service.steam.charts import cycle_svg
from service.steam.cycle import read_csv
from service.steam.judge import judge
from service.steam.programme import programme

LATE_MINUTES = 15
_SAID_ELSEWHERE = {"wash_ended", "cycle_judged"}
"""Steps that stand with another on the custody line while they passed, and on their own when they did not."""
WEEK = 7


class Looks:
    """Builds views from one consistent look at the ledger, at the time `now` (a fact's stamp)."""

    def __init__(self, reader: Reader, now: str) -> None:
        self.reader = reader
        self.state = reader.state
        self.now = now
        self.zone = self.state.practice.zone

    def said(self, at: str | None) -> str:
        """A time as pages say it: `4 March 10:12`."""
        return f"{moment(at).astimezone(self.zone):%-d %B %H:%M}" if at else ""

    def due(self, load: Load) -> str:
        """When its biological is to be read, as `, due 6 March`."""
        try:
            return f", due {date.fromisoformat(load.biological_due or ''):%-d %B}"
        except ValueError:
            return ""

    def who(self, code: str | None) -> str:
        return (self.reader.name(code) or code) if code else ""

    def patient(self, code: str | None) -> str:
        if not code:
            return ""
        known = self.state.known_as(code)
        name = next((f"{name}, {detail}" for c, _, name, detail in self.reader.names("patient") if c == known), "")
        return f"{name} ({known})" if name else known

    def set_name(self, code: str) -> str:
        owner = self.state.set(code)
        return owner.name if owner else code

    def place(self, pack: Pack) -> str:
        if pack.shelf:
            return f"last seen on {shelf_name(pack.shelf)}"
        return f"last seen at {pack.seen_station}, {self.said(pack.seen_at)}"

    def pack_line(self, pack: Pack, accounted: bool = False) -> PackLine:
        opened = f" {self.said(pack.opened_at)}" if pack.opened_at else ""
        return PackLine(
            pack.code,
            f"{self.set_name(pack.set)}, turn {pack.turn}",
            self.state.where(pack) + opened,
            tuple(self.state.flags(pack)),
            self.place(pack),
            (self.patient(pack.patient),) if pack.patient else (),
            accounted,
        )

    def facts(self, facts: list[Fact]) -> tuple[FactRow, ...]:
        undone = {fact.data["of"] for fact in facts if fact.kind == "amended" and fact.data["undo"]}
        return tuple(self._fact(fact, fact.id in undone) for fact in facts)

    def _fact(self, fact: Fact, undone: bool) -> FactRow:
        late = moment(fact.noted_at) - moment(fact.at) > timedelta(minutes=LATE_MINUTES)
        about = ", ".join(
            f"{key.replace('_', ' ')} {value}"
            for key, value in fact.data.items()
            if isinstance(value, str | int)
            and not isinstance(value, bool)
            and key not in {"log_sha256", "of", "number"}
        )
        where = " · ".join(part for part in (fact.station, self.who(fact.by)) if part)
        return FactRow(
            self.said(fact.at), late, fact.kind.replace("_", " "), about[:300], where,
            f"{fact.seq} · {fact.hash[:4]}…{fact.hash[-2:]}", undone,
        )  # fmt: skip

    # The board

    def board(self) -> BoardPage:
        sets = [owner for owner in self.state.sets() if not owner.retired]
        places: dict[str, list[Tile]] = {state: [] for state in CIRCLE}
        needs: list[Need] = []
        expiring: list[tuple[str, Need]] = []
        ready = 0
        for owner in sets:
            pack = self.state.pack(owner.pack)
            if pack is None:
                places["soiled"].append(Tile(owner.name, f"/sets/{owner.code}", owner.mark_pattern or "", ""))
                continue
            where, flags = self.state.where(pack), self.state.flags(pack)
            out = where != "opened" and expired(pack, self.state.load(pack.load), self.now, self.zone)
            note = ", ".join([*flags, *(["out of date"] if out else [])]) if where != "opened" else ""
            places[where].append(Tile(owner.name, f"/packs/{pack.code}", owner.mark_pattern or "", note))
            ready += where == "released" and not flags and not out and not pack.short
            if where == "released" and (last := use_by(pack, self.state.load(pack.load), self.zone)):
                self._note_expiry(owner, pack, last.isoformat(), out, needs, expiring)
        segments = tuple(Segment(state, tuple(tiles)) for state, tiles in places.items())
        needs = [*self._recalls_needing(), *self._loads_needing(), *needs]
        order = {"stop": 0, "ask": 1, "go": 2}
        return BoardPage(
            self.state.practice.name, segments, drawing.the_round(segments, len(sets)), ready, len(sets),
            tuple(sorted(needs, key=lambda need: order[need.verdict])), tuple(need for _, need in sorted(expiring, key=_first)),
        )  # fmt: skip

    def _note_expiry(
        self,
        owner: InstrumentSet,
        pack: Pack,
        last: str,
        out: bool,
        needs: list[Need],
        expiring: list[tuple[str, Need]],
    ) -> None:
        today = moment(self.now).astimezone(self.zone).date()
        day = today.fromisoformat(last)
        link = f"/packs/{pack.code}"
        if out:
            needs.append(
                Need("ask", f"{owner.name} is out of date.", f"Its last day was {day:%-d %B}. Pack it again.", link)
            )
        elif (day - today).days <= WEEK:
            words = f"Use by {day:%-d %B}; {self.place(pack)}."
            expiring.append((last, Need("ask", owner.name, words, link)))

    def _recalls_needing(self) -> list[Need]:
        found = []
        for recall in self.reader.recalls():
            if recall.closed_at is None:
                left = len(recall.packs) - len(recall.accounted)
                words = f"{len(recall.accounted)} of {len(recall.packs)} packs accounted for; {left} left."
                link = f"/recalls/{recall.load}?reach={recall.reach}"
                found.append(Need("stop", f"Load {recall.load[7:11]} is recalled.", words, link))
        return found

    def _loads_needing(self) -> list[Need]:
        found = []
        for load in self.reader.loads(60, "L"):
            link, number = f"/loads/{load.code}", load.code[7:11]
            if load.load_kind not in {None, "goods"} or load.rejected:
                continue
            if load.held:
                found.append(
                    Need("stop", f"Load {number} is on hold.", f"{load.held[:1].upper()}{load.held[1:]}.", link)
                )
            elif load.ended_at and not load.released_at:
                against = against_release(self.state, load)
                words = against[0].headline if against else f"{len(load.packs)} packs; nothing against it so far."
                found.append(Need("ask", f"Load {number} waits for release.", words, link))
            elif load.released_at and load.biological_lot and load.biological is None:
                words = f"Biological not yet read{self.due(load)}; released, nothing against it so far."
                found.append(Need("ask", f"Load {number}.", words, link))
        for machine in self.state.everything("machine"):
            if stopped := getattr(machine, "stopped", None):
                found.append(
                    Need(
                        "stop", f"{getattr(machine, 'name', machine.code)} is out of service.", f"{stopped}.", "/loads"
                    )
                )
        return found

    # A pack

    def pack(self, pack: Pack) -> PackPage:
        owner = self.state.set(pack.set)
        facts = custody_facts(self.state, pack)
        load = self.state.load(pack.load)
        missing = gaps(facts)
        stops = self._stops(facts, pack, {gap["step"] for gap in missing})
        flags = self.state.flags(pack)
        out = not pack.opened_at and expired(pack, load, self.now, self.zone)
        tags = (*flags, *(["out of date"] if out else []), *(["SHORT"] if pack.short else []),
                *(["opened by override, unconfirmed"] if pack.overridden else []))  # fmt: skip
        return PackPage(
            owner.name if owner else pack.set, pack.code, pack.set, tuple(self._pack_rows(pack, owner, load)), tags,
            drawing.qr_svg(qr(pack.code)), drawing.custody_line(stops),
            tuple((stop.name, stop.when, f"{stop.words} {stop.news}".strip()) for stop in stops),
            tuple(f"{gap['why']}, before {gap['before'].replace('_', ' ')}" for gap in missing), self.facts(facts),
        )  # fmt: skip

    def _pack_rows(self, pack: Pack, owner: InstrumentSet | None, load: Load | None) -> list[tuple[str, str]]:
        state = self.state.where(pack)
        if pack.opened_at:
            whom = f" for {self.patient(pack.patient)}" if pack.patient else ", and not used"
            state = f"opened{whom}, {self.said(pack.opened_at)}"
        rows = [("State", state), ("Turn", str(pack.turn))]
        if owner and owner.mark_colour:
            rows.append(("Mark", f"{owner.mark_colour}, {owner.mark_pattern}"))
        if pack.packed_at:
            rows.append(("Packed", f"{self.said(pack.packed_at)} by {self.who(pack.packed_by)}; gauze {pack.gauze}"))
        if pack.short:
            rows.append(("SHORT", "; ".join(pack.short)))
        if load:
            rows.append(("Load", f"{load.code[7:11]}, {load.programme or 'not started'}"))
            last = use_by(pack, load, self.zone)
            if load.ended_at:
                words = f"{last:%-d %B %Y}; not at all if wet, torn or dropped" if last else "no date: look at the wrap"
                rows.append(("Use by", words))
        strip = {None: "not yet seen", "turned": "turned", "pale": "PALE"}[pack.strip]
        rows.append(("Strip inside", strip))
        if pack.compromised:
            rows.append(("Kept out of use", ", ".join(pack.compromised)))
        rows.append(("Place", self.place(pack)))
        return rows

    def _stops(self, facts: list[Fact], pack: Pack, missing: set[str]) -> list[Stop]:
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
            ("packed", "packed", lambda f: self.who(f.by)),
            ("loaded", "loaded", lambda f: f"L {f.load[7:11]}" if f.load else ""),
            ("cycle_ended", "cycle", lambda f: self._cycle_words(f, first.get("cycle_judged"))),
            ("cycle_judged", "judged", lambda f: f"{f.data['verdict']}, {f.data['hold_s']} s"),
            ("unloaded", "unloaded", lambda _: f"tape {pack.tape}"),
            ("released", "released", lambda f: self.who(f.by)),
            ("stored", "stored", lambda f: shelf_name(f.data["shelf"])),
            ("overridden", "override", lambda f: str(f.data["rule"]).replace("_", " ")),
            ("opened", "opened", lambda f: self.patient(f.patient).split(" (")[0] or "not used"),
        ]
        stops = []
        for kind, name, words in steps:
            fact = first.get(kind)
            if fact and kind in _SAID_ELSEWHERE and step_of(fact):
                continue
            if fact:
                shape = {"overridden": "override", "opened": "opening"}.get(kind, "ring")
                stops.append(Stop(name, self.said(fact.at), words(fact), shape, self._news(kind, facts, undone)))
            elif kind in missing:
                stops.append(Stop(name, "", STEP_WORDS[kind].split(",")[0], "gap"))
        return stops

    def _cycle_words(self, ended: Fact, judged: Fact | None) -> str:
        return f"{judged.data['verdict']}, {judged.data['hold_s']} s" if judged else f"display {ended.data['display']}"

    def _news(self, kind: str, facts: list[Fact], undone: set[str]) -> str:
        """Bad news that came later, at the step it speaks of."""
        for fact in facts:
            if fact.id in undone:
                continue
            if kind == "cycle_ended" and fact.kind == "indicator_read" and fact.data["result"] == "positive":
                return f"biological positive, {moment(fact.at).astimezone(self.zone):%-d %B}"
            if kind == "released" and fact.kind == "rejected":
                return f"rejected, {moment(fact.at).astimezone(self.zone):%-d %B}"
            if kind == "opened" and fact.kind == "indicator_read" and fact.data["result"] == "pale":
                return "strip pale"
            if kind == "unloaded" and fact.kind == "compromised" and fact.data["why"] != "strip pale":
                return str(fact.data["why"])
        return ""

    # Loads

    def load(self, load: Load) -> LoadPage:
        packs = [pack for code in load.packs if (pack := self.state.pack(code))]
        may: set[str] = set()
        if load.steam and not load.rejected and load.load_kind in {None, "goods"}:
            may = {"hold", "reject"}
            if not against_release(self.state, load) and (load.held or not load.released_at):
                may.add("release")
        chart, notes = self._chart(load)
        kind = "Steam load" if load.steam else "Wash load"
        return LoadPage(
            f"{kind} {load.code[7:11]}", load.code, load.steam, tuple(self._load_rows(load)), _load_tags(load),
            tuple(standing(self.state, load)) if load.steam else (), tuple(self.pack_line(pack) for pack in packs), chart, notes,
            self.facts(self.reader.history("load", load.code)), frozenset(may), load.held is not None,
        )  # fmt: skip

    def _load_rows(self, load: Load) -> list[tuple[str, str]]:
        machine = self.state.machine(load.machine)
        rows = [("Machine", getattr(machine, "name", load.machine)), ("Began", self.said(load.began_at))]
        if load.programme:
            rows.append(("Programme", f"{load.programme}, {load.load_kind}{f': {load.why}' if load.why else ''}"))
        if load.started_at:
            rows.append(("Started", self.said(load.started_at)))
        if load.ended_at:
            rows.append(("Ended", f"{self.said(load.ended_at)}, {load.display or load.result}"))
        elif load.started_at:
            rows.append(("Ended", "no end recorded: such a load can only be rejected"))
        if load.verdict:
            f0 = f"{load.f0_hundredths / 100:.2f}" if load.f0_hundredths is not None else "?"
            rows.append(("Judged", f"{load.verdict} from the {load.basis}: {load.hold_s} s held, F0 {f0} min"))
        if load.biological_lot:
            read = load.biological or f"not yet read{self.due(load)}"
            rows.append(("Biological", f"lot {load.biological_lot}: {read}"))
        if load.released_at:
            alone = ", alone: for a second look" if load.alone else ""
            rows.append(("Released", f"{self.said(load.released_at)} by {self.who(load.released_by)}{alone}"))
        if load.held:
            rows.append(("On hold", load.held))
        if load.rejected:
            rows.append(("Rejected", load.rejected))
        if load.ended_at and load.steam and (left := not_unloaded(self.state, load)):
            rows.append(("Not scanned out", ", ".join(pack.code for pack in left)))
        return rows

    def _chart(self, load: Load) -> tuple[str, tuple[str, ...]]:
        log = self.reader.log(load.code)
        if log is None:
            return "", ()
        limits, cycle = programme(log[1]), read_csv(log[2])
        found = judge(cycle, limits)
        return cycle_svg(cycle, found, limits, title=f"Load {load.code[7:11]}, programme {limits.name}"), found.notes

    def loads(self) -> LoadsPage:
        rows = []
        for load in self.reader.loads(200):
            machine = self.state.machine(load.machine)
            what = f"{len(load.packs)} {'packs' if load.steam else 'sets'}"
            if load.load_kind not in {None, "goods"}:
                what = f"{load.load_kind} test: {load.air_removal or 'not read'}"
            rows.append(LoadLine(load.code, f"{'Steam' if load.steam else 'Wash'} {load.code[7:11]}",
                                 getattr(machine, "name", load.machine), self.said(load.began_at), what, _load_tags(load)))  # fmt: skip
        return LoadsPage("Loads", tuple(rows))

    # Recalls

    def recall(self, load: Load, reach: str) -> RecallPage:
        found = report(self.state, load, reach)
        opened = next((r for r in self.reader.recalls() if r.load == load.code and r.reach == reach), None)
        packs = []
        for row in found["packs"]:
            pack = self.state.pack(row["pack"])
            if pack:
                packs.append(self.pack_line(pack, bool(opened and pack.code in opened.accounted)))
        reaches = {name: words for name, words in REACHES.items() if load.steam or name in {"load", "onward"}}
        return RecallPage(
            f"Recall of load {load.code[7:11]}", load.code, reach, found["why"], tuple(reaches.items()), tuple(found["loads"]),
            tuple(packs), tuple((code, self.patient(code)) for code in found["patients"]), opened.code if opened else None,
            f"Opened {self.said(opened.opened_at)}: {opened.why}." if opened else "", bool(opened and opened.closed_at),
            len(opened.packs) - len(opened.accounted) if opened else 0,
        )  # fmt: skip

    def recalls(self) -> RecallsPage:
        rows = []
        for r in self.reader.recalls():
            state = "closed" if r.closed_at else f"{len(r.accounted)} of {len(r.packs)} accounted for"
            rows.append((r.load, f"/recalls/{r.load}?reach={r.reach}", r.why, f"{self.said(r.opened_at)};{state}"))
        return RecallsPage("Recalls", tuple(rows))

    # A set, a search

    def instrument_set(self, owner: InstrumentSet) -> SetPage:
        rows = [("Kind", owner.kind), ("Holds implants", "yes" if owner.implant else "no"), ("Wrap", owner.wrap)]
        if owner.mark_colour:
            rows.append(("Mark", f"{owner.mark_colour}, {owner.mark_pattern}"))
        if owner.bears_c is not None:
            rows.append(("Bears", f"{owner.bears_c} °C"))
        if owner.retired:
            rows.append(("Retired", owner.retired))
        groups: dict[str, list[tuple[str, int]]] = {}
        for group, line, count in owner.sheet:
            groups.setdefault(group, []).append((line, count))
        packs = sorted(self.reader.packs_of(owner.code), key=lambda pack: -pack.turn)
        sheet = tuple((group, tuple(lines)) for group, lines in groups.items())
        return SetPage(owner.name, owner.code, tuple(rows), sheet, tuple(self.pack_line(pack) for pack in packs[:100]))

    def search(self, query: str) -> SearchPage | str:
        """The page of a whole code, as its address; otherwise what goes by that name."""
        text = query.strip()[:100]
        address = _address(text.upper())
        if address:
            return address
        wanted = text.casefold()
        found = []
        for owner in self.state.sets() if wanted else ():
            if wanted in owner.name.casefold():
                pack = self.state.pack(owner.pack)
                words = f"{self.state.where(pack)}; {self.place(pack)}" if pack else "new"
                found.append((owner.name, f"/packs/{pack.code}" if pack else f"/sets/{owner.code}", words))
        for code, _, name, detail in self.reader.names("patient") if wanted else ():
            if wanted in name.casefold() or code == text.upper():
                for case in self.reader.cases_of(code):
                    words = f"{self.said(case.opened_at)}: {len(case.packs)} packs opened"
                    link = f"/packs/{case.packs[0]}" if case.packs else "/"
                    found.append((f"{name}, {detail}", link, words))
        return SearchPage("Search", text, tuple(found[:50]))


def _first(row: tuple[str, Need]) -> tuple[str, str]:
    return row[0], row[1].title


def _load_tags(load: Load) -> tuple[str, ...]:
    tags = []
    if load.recalls:
        tags.append("recalled")
    if load.rejected:
        tags.append("rejected")
    if load.held:
        tags.append("held")
    if load.verdict and load.verdict != "pass":
        tags.append(load.verdict)
    if load.released_at and not load.rejected:
        tags.append("released")
    if load.result:
        tags.append(load.result)
    return tuple(tags)


def _address(text: str) -> str | None:
    try:
        code = codes.parse(text)
    except CodeError:
        return None
    return (
        {"P": "/packs/", "S": "/sets/", "L": "/loads/", "W": "/loads/"}.get(code.letter, "") + code.text
        if (code.letter in "PSLW")
        else None
    )
