"""Looks: how pages read the ledger at one moment, and how they say times, people and places. Nothing is decided."""

from datetime import date, timedelta

from service.custody.facts import Fact, moment
from service.custody.records import Load, Pack
from service.ledger.store import Reader
from service.pages.views import (
    FactRow,
    PackLine,
)
from service.stations.store import shelf_name

LATE_MINUTES = 15


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
