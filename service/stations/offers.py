"""What a station could take now, to touch instead of scanning. A touch is a scan like any other: the rules decide."""

from collections.abc import Callable
from datetime import date
from functools import cached_property
from typing import cast

from label_templates import codes
from service.custody.chain import State, flags_of, state_of, use_by
from service.custody.facts import moment
from service.custody.records import InstrumentSet, Load, Pack
from service.custody.rules.loading import not_unloaded
from service.custody.rules.roles import MAY
from service.ledger.store import Reader
from service.stations.hand import Hand
from service.stations.store import shelf_name
from service.stations.talk import number_of

MOST = 8
MANY_SETS = 120
"""A site with more sets than this scans: nobody finds one in a list, and reading them all holds up the screen."""
_RECENT = 40
Offer = tuple[str, str, str]
"""A code, what a person calls it, and what is to be known before fetching it."""


def offers(reader: Reader, state: State, station: str, hand: Hand) -> list[dict[str, str]]:
    """The likeliest codes for this station's next scan: `code`, `title` and `note`, at most `MOST`."""
    found = _Offers(reader, state, hand).at(station.rsplit("-", 1)[0])
    return [{"code": code, "title": title, "note": note} for code, title, note in found[:MOST]]


class _Offers:
    """One look at what is where, from one station's side."""

    def __init__(self, reader: Reader, state: State, hand: Hand) -> None:
        self._reader, self._state, self._hand = reader, state, hand

    def at(self, kind: str) -> list[Offer]:
        if self._hand.badge is None:
            return self._people()
        if self._hand.pending:
            return []
        return {
            "wash": self._wash,
            "packing": self._packing,
            "loading": self._loading,
            "unloading": self._unloading,
            "store": self._store,
            "theatre": self._theatre,
            "office": self._office,
        }[kind]()

    def _people(self) -> list[Offer]:
        """Who may sign on. Nobody's leave, to pack short or to override, is ever offered: that badge is shown."""
        here = {Hand.from_json(text).badge for text in self._reader.hands().values()}
        people = [one for one in self._state.people() if not one.left_at and MAY["sign on"] & set(one.roles)]
        people.sort(key=lambda one: one.code not in here)
        return [(one.code, self._reader.name(one.code) or f"Badge {one.code[5:8]}", "") for one in people[:MOST]]

    def _wash(self) -> list[Offer]:
        if self._hand.load is None:
            return self._cards("W", "Wash load", lambda load: load.result is None)
        if self._hand.step == "result":
            return []
        packs = self._packs
        soiled = [
            one
            for one in self._sets.values()
            if (pack := packs.get(one.pack or "")) is None or self._where(pack) in {"opened", "soiled"}
        ]
        return [(one.code, one.name, "") for one in sorted(soiled, key=lambda one: one.pack is None)]

    def _packing(self) -> list[Offer]:
        step, packs = self._hand.step, self._packs
        if step == "label":
            return self._named([packs[code] for code in [self._hand.work.get("pack")] if code in packs])
        if step:
            return []
        clean = [one for one in self._sets.values() if one.pack in packs and self._where(packs[one.pack]) == "clean"]
        bare = [pack for pack in packs.values() if self._where(pack) == "packed" and not pack.labelled_at]
        return [*((one.code, one.name, "") for one in clean), *self._named(bare)]

    def _loading(self) -> list[Offer]:
        load = self._state.load(self._hand.load)
        if self._hand.load is None:
            return self._cards("L", "Steam load", lambda load: load.started_at is None)
        if self._hand.step == "out" and load:
            return self._named([pack for code in load.packs if (pack := self._state.pack(code))])
        if self._hand.step:
            return []
        return self._named([p for p in self._sound() if self._where(p) == "packed" and p.labelled_at])

    def _unloading(self) -> list[Offer]:
        load = self._state.load(self._hand.load)
        if load is None:
            return [_card(one, "Steam load") for one in self._reader.loads(_RECENT, "L") if self._comes_out(one)]
        return self._named(not_unloaded(self._state, load)) if load.ended_at and not self._hand.step else []

    def _comes_out(self, load: Load) -> bool:
        runs = load.started_at and not load.rejected
        return bool(runs and (load.ended_at is None or not_unloaded(self._state, load)))

    def _store(self) -> list[Offer]:
        quarantine = self._state.practice.quarantine_shelves
        if self._hand.shelf is None:
            return self._shelves()
        place = "waiting" if self._hand.shelf in quarantine else "released"
        packs = [p for p in self._sound() if self._where(p) == place and p.shelf in {None, *quarantine}]
        return [*self._named([p for p in packs if p.shelf != self._hand.shelf]), *self._shelves()]

    def _shelves(self) -> list[Offer]:
        used = sorted({pack.shelf for pack in self._packs.values() if pack.shelf})
        known = dict.fromkeys([*used, *self._state.practice.quarantine_shelves])
        return [(code, shelf_name(code).capitalize(), "") for code in known if code != self._hand.shelf]

    def _theatre(self) -> list[Offer]:
        case = self._state.case(self._hand.case)
        if self._hand.step == "shelf":
            return self._shelves()
        if self._hand.step:
            return []
        if case is None or case.closed_at:
            latest = self._reader.names("patient")[: -MOST - 1 : -1]
            return [(code, name, kind or "") for code, _, name, kind in latest]
        today = moment(self._hand.touched_at or case.opened_at).astimezone(self._state.practice.zone).date()
        ready = []
        for pack in self._sound():
            last = use_by(pack, self._load(pack.load), self._state.practice.zone)
            if self._where(pack) == "released" and pack.code not in self._hand.asked and (last or today) >= today:
                ready.append((last or date.max, self._called(pack), pack))
        return [(pack.code, name, _before(pack, last)) for last, name, pack in sorted(ready, key=lambda one: one[:2])]

    def _office(self) -> list[Offer]:
        waits = [one for one in self._reader.loads(_RECENT, "L") if one.ended_at and not one.released_at]
        return [] if self._hand.step else [_card(one, "Steam load") for one in waits if not one.rejected]

    def _cards(self, letter: str, title: str, is_open: Callable[[Load], bool]) -> list[Offer]:
        """Loads begun at such machines and still open, then each machine's next card."""
        recent = self._reader.loads(_RECENT, letter)
        machines = self._state.machines()
        last = {one.code: 0 for one in machines if one.code[0] == letter and not one.stopped}
        for load in recent:
            if load.machine in last:
                last[load.machine] = max(last[load.machine], int(number_of(load.code)))
        told = [(one, number) for one, number in last.items() if number < 9999 and (number or len(recent) < _RECENT)]
        nexts = [codes.load_code(one, number + 1).text for one, number in told]
        known = {one.code: one.name for one in machines}
        begun = [_card(load, title) for load in recent if is_open(load)]
        return [*begun, *((code, f"{known[code[:6]]}, load {number_of(code)}", "the next card") for code in nexts)]

    @cached_property
    def _sets(self) -> dict[str, InstrumentSet]:
        site = self._state.site(self._state.practice.site)
        if site is None or site.set > MANY_SETS:
            return {}
        return {one.code: one for one in self._state.sets() if not one.retired}

    @cached_property
    def _packs(self) -> dict[str, Pack]:
        """The present pack of every set."""
        found = self._reader.many("pack", [one.pack for one in self._sets.values() if one.pack])
        return {pack.code: pack for pack in cast("list[Pack]", found)}

    @cached_property
    def _loads(self) -> dict[str, Load]:
        """The loads that these packs went through."""
        codes_of = {code for pack in self._packs.values() for code in (pack.wash, pack.load) if code}
        return {load.code: load for load in cast("list[Load]", self._reader.many("load", sorted(codes_of)))}

    def _sound(self) -> list[Pack]:
        return [
            pack for pack in self._packs.values() if not flags_of(pack, self._load(pack.wash), self._load(pack.load))
        ]

    def _load(self, code: str | None) -> Load | None:
        return self._loads.get(code or "")

    def _where(self, pack: Pack) -> str:
        return state_of(pack, self._load(pack.wash), self._load(pack.load))

    def _called(self, pack: Pack) -> str:
        owner = self._sets.get(pack.set) or self._state.set(pack.set)
        return owner.name if owner else pack.set

    def _named(self, packs: list[Pack]) -> list[Offer]:
        return [(pack.code, self._called(pack), f"turn {pack.turn}") for pack in packs]


def _card(load: Load, title: str) -> Offer:
    return load.code, f"{title} {number_of(load.code)}", ""


def _before(pack: Pack, last: date) -> str:
    """Where a pack is to be fetched, and until when it may be used."""
    place = shelf_name(pack.shelf) if pack.shelf else f"last seen at {pack.seen_station}"
    until = "no date" if last == date.max else f"use by {last:%-d %B}"
    return ", ".join([place, until, *(["SHORT"] if pack.short else [])])
