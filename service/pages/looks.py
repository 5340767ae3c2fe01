"""Looks: how pages read the ledger at one moment, and how they say times, people and places. Nothing is decided."""

from collections.abc import Container
from datetime import date, datetime, timedelta
from typing import cast

from service.custody.chain import last_seen
from service.custody.facts import Fact, moment, stamp
from service.custody.records import Load, Pack
from service.ledger.store import Reader
from service.pages.views import (
    FactRow,
    PackLine,
    Told,
)
from service.stations.store import shelf_name
from service.words.name import Name

LATE_MINUTES = 15
_LEFT_OUT = {"log_sha256", "of", "number"}


def span(long: timedelta) -> str:
    """How long something took or waits, as pages say it: `25 min`, `3 h 20 min`, `2 days 3 h`."""
    minutes = int(long.total_seconds() // 60)
    days, hours = divmod(minutes // 60, 24)
    if days:
        return f"{days} {'day' if days == 1 else 'days'}{f' {hours} h' if hours else ''}"
    return f"{hours} h {minutes % 60} min" if hours else f"{minutes} min"


def told(fact: Fact, left_out: Container[str]) -> Told:
    """What a fact holds, as names and values; a long value is cut short."""
    return tuple(
        (key.replace("_", " "), str(value)[:300])
        for key, value in fact.data.items()
        if isinstance(value, str | int) and not isinstance(value, bool) and key not in left_out
    )


class Looks:
    """Builds views from one consistent look at the ledger, at the time `now` (a fact's stamp)."""

    def __init__(self, reader: Reader, now: str) -> None:
        self.reader = reader
        self.state = reader.state
        self.now = now
        self.zone = self.state.practice.zone
        self._unsettled: list[Load] | None = None

    def unsettled(self) -> list[Load]:
        """The loads somebody has still something to do with."""
        if self._unsettled is None:
            self._unsettled = self.reader.unsettled()
        return self._unsettled

    def loads_since(self, when: datetime) -> list[Load]:
        """The loads begun since then, at most two hundred."""
        return cast("list[Load]", self.reader.between("load", stamp(when), self.now, 200))

    def load_name(self, load: Load) -> str:
        return f"{'Load' if load.steam else 'Wash load'} {load.code[7:11]}"

    def day(self, at: str) -> date:
        """The site's local day of a stamp."""
        return moment(at).astimezone(self.zone).date()

    def period(self, first: date, last: date) -> str:
        """Days as pages say them: `4 March 2026`, `1 March 2026 to 4 March 2026`."""
        said = [f"{one:%-d %B %Y}" for one in dict.fromkeys((first, last))]
        return " to ".join(said)

    def clock(self, at: str) -> str:
        return f"{moment(at).astimezone(self.zone):%H:%M}"

    def said(self, at: str | None) -> str:
        """A time as pages say it: `4 March 10:12`."""
        return f"{moment(at).astimezone(self.zone):%-d %B %H:%M}" if at else ""

    def due(self, load: Load) -> str:
        """When its biological is to be read, as `, due 6 March`."""
        try:
            return f", due {date.fromisoformat(load.biological_due or ''):%-d %B}"
        except ValueError:
            return ""

    def days_past(self, day: str | None) -> int:
        """How many days ago a day (such as 2026-03-06) was, here; 0 for none."""
        try:
            return (self.day(self.now) - date.fromisoformat(day or "")).days
        except ValueError:
            return 0

    def who(self, code: str | None) -> str:
        return Name((self.reader.name(code) or code) if code else "")

    def late(self, fact: Fact) -> timedelta | None:
        """How long after it happened a fact was noted; None when that was soon enough."""
        waited = moment(fact.noted_at) - moment(fact.at)
        return waited if waited > timedelta(minutes=LATE_MINUTES) else None

    def patient(self, code: str | None) -> str:
        if not code:
            return ""
        known = self.state.known_as(code)
        named = self.reader.named(known)
        return f"{', '.join(filter(None, named))} ({known})" if named else known

    def set_name(self, code: str) -> str:
        owner = self.state.set(code)
        return Name(owner.name if owner else code)

    def place(self, pack: Pack) -> str:
        if pack.shelf:
            return f"last seen on {shelf_name(pack.shelf)}"
        seen_station, at = last_seen(self.state, pack)
        return f"last seen at {seen_station}, {self.said(at)}"

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
        where = " · ".join(part for part in (fact.station, self.who(fact.by)) if part)
        return FactRow(
            self.said(fact.at), self.late(fact) is not None, fact.kind.replace("_", " "), told(fact, _LEFT_OUT), where,
            f"{fact.seq} · {fact.hash[:4]}…{fact.hash[-2:]}", undone,
        )  # fmt: skip
