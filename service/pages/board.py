"""The board: where every set is, and who is needed."""

from dataclasses import replace
from datetime import timedelta
from urllib.parse import urlencode

from service.custody.chain import CIRCLE, expired, use_by
from service.custody.facts import moment, stamp
from service.custody.records import InstrumentSet, Pack
from service.custody.rules.release import against_release
from service.pages import drawing
from service.pages.looks import Looks
from service.pages.machines import drift_lines
from service.pages.overdue import overdue, soiled
from service.pages.views import (
    BoardPage,
    Choice,
    Need,
    Segment,
    Tile,
    Timer,
)
from service.words.name import Name

WEEK = 7
SHOWS = {"held": "Held", "expiring": "Going out of date", "overdue": "Overdue", "soiled": "Soiled"}
"""The board's filters, by the word in its address."""
_GRAVE = {"stop": 0, "ask": 1, "go": 2}
_A_DAY = timedelta(hours=24)


def board_page(looks: Looks, logs_asked: int = 0) -> BoardPage:
    """The whole board, with how many cycle logs wait for somebody; `filtered` takes a part of it."""
    sets = [owner for owner in looks.state.sets() if not owner.retired]
    places: dict[str, list[Tile]] = {state: [] for state in CIRCLE}
    needs: list[tuple[str, Need]] = []
    expiring: list[tuple[str, Need]] = []
    dirty: list[tuple[timedelta, Need]] = []
    late = overdue(looks)
    links = {need.link for need in late}
    ready = 0
    for owner in sets:
        pack = looks.state.pack(owner.pack)
        if pack is None:
            places["soiled"].append(_tile(owner, f"/sets/{owner.code}"))
            continue
        where, flags = looks.state.where(pack), looks.state.flags(pack)
        out = where != "opened" and expired(pack, looks.state.load(pack.load), looks.now, looks.zone)
        note = ", ".join([*flags, *(["out of date"] if out else [])]) if where != "opened" else ""
        ready += where == "released" and not flags and not out and not pack.short
        soon = _expiry(looks, owner, pack) if where == "released" else None
        if soon:
            (needs if out else expiring).append(soon)
        if waits := soiled(looks, owner, pack):
            dirty.append(waits)
        link = f"/packs/{pack.code}"
        shows = {
            "held": "held" in flags and where != "opened",
            "expiring": soon,
            "overdue": link in links,
            "soiled": waits,
        }
        places[where].append(_tile(owner, link, note, *(show for show, is_so in shows.items() if is_so)))
    segments = tuple(Segment(state, tuple(tiles)) for state, tiles in places.items())
    urgent = [*_recalls_needing(looks), *_loads_needing(looks), *(need for _, need in sorted(needs, key=_first))]
    urgent = [need for need in urgent if need.verdict == "stop" or need.link not in links]
    if logs_asked:
        urgent.append(_logs_wait(logs_asked))
    return BoardPage(
        Name(looks.state.practice.name), looks.now, looks.said(looks.now), segments,
        drawing.the_round(segments, len(sets)),
        ready, len(sets), tuple(sorted(urgent, key=lambda need: _GRAVE[need.verdict])),
        tuple(need for _, need in sorted(expiring, key=_first)), tuple(late),
        tuple(need for _, need in sorted(dirty, key=lambda row: -row[0])), _timers(looks),
        marks=tuple(sorted({owner.mark_colour for owner in sets if owner.mark_colour})),
    )  # fmt: skip


def _logs_wait(count: int) -> Need:
    title = f"{count} cycle logs wait." if count > 1 else "A cycle log waits."
    return Need("ask", title, "It lies in the watched folder under asked, and a line beside it says why.", "/loads")


def _tile(owner: InstrumentSet, link: str, note: str = "", *shows: str) -> Tile:
    return Tile(Name(owner.name), link, owner.mark_pattern or "", note, owner.mark_colour, frozenset(shows))


def filtered(page: BoardPage, show: str = "", mark: str = "") -> BoardPage:
    """The part of the board that a filter shows; words it does not know filter nothing."""
    show = show if show in SHOWS else ""
    mark = mark if mark in page.marks else ""

    def wanted(needs: tuple[Need, ...], of: str) -> tuple[Need, ...]:
        shown = needs if show in {"", of} else ()
        return tuple(need for need in shown if mark in {"", need.mark})

    segments = tuple(
        Segment(one.state, tuple(t for t in one.tiles if (not show or show in t.shows) and mark in {"", t.mark}))
        for one in page.segments
    )
    held = tuple(need for need in page.needs if not show or need.held)
    total = sum(len(one.tiles) for one in segments)
    return replace(
        page, segments=segments, round_svg=drawing.the_round(segments, total), total=total,
        needs=wanted(held, "held"), expiring=wanted(page.expiring, "expiring"), overdue=wanted(page.overdue, "overdue"),
        soiled=wanted(page.soiled, "soiled"), timers=() if show or mark else page.timers, show=show, mark=mark,
        choices=_choices(page, show, mark),
    )  # fmt: skip


def _choices(page: BoardPage, show: str, mark: str) -> tuple[Choice, ...]:
    """The filters as links; each keeps the other kind of filter as it is."""

    def link(show: str, mark: str) -> str:
        chosen = {key: value for key, value in (("show", show), ("mark", mark)) if value}
        return f"/?{urlencode(chosen)}" if chosen else "/"

    tiles = [tile for one in page.segments for tile in one.tiles]
    counts = {
        "held": sum("held" in tile.shows for tile in tiles),
        "expiring": len(page.expiring),
        "overdue": len(page.overdue),
        "soiled": len(page.soiled),
    }
    return (
        Choice("All", link("", ""), not show and not mark),
        *(Choice(f"{words} {counts[name]}", link(name, mark), name == show) for name, words in SHOWS.items()),
        *(Choice(f"Mark {name}", link(show, name), name == mark) for name in page.marks),
    )


def _expiry(looks: Looks, owner: InstrumentSet, pack: Pack) -> tuple[str, Need] | None:
    """A pack that goes out of date within a week: its last day and what is said of it. One that is already: too."""
    last = use_by(pack, looks.state.load(pack.load), looks.zone)
    today = looks.day(looks.now)
    if last is None or (last - today).days > WEEK:
        return None
    link, mark = f"/packs/{pack.code}", owner.mark_colour
    if last < today:
        words = f"Its last day was {last:%-d %B}. Pack it again."
        return last.isoformat(), Need("ask", f"{owner.name} is out of date.", words, link, mark)
    words = f"Use by {last:%-d %B}; {looks.place(pack)}."
    return last.isoformat(), Need("go", Name(owner.name), words, link, mark)


def _timers(looks: Looks) -> tuple[Timer, ...]:
    """When each load that came out a while ago is cool."""
    cooling, now, found = timedelta(minutes=looks.state.practice.cooling_minutes), moment(looks.now), []
    for load in looks.loads_since(now - _A_DAY):
        cool = moment(load.ended_at) + cooling if load.steam and load.ended_at and not load.rejected else now
        if cool > now:
            at = stamp(cool)
            found.append((at, Timer(f"{looks.load_name(load)} is cool at", at, looks.clock(at), f"/loads/{load.code}")))
    return tuple(timer for _, timer in sorted(found, key=lambda row: row[0]))


def _recalls_needing(looks: Looks) -> list[Need]:
    found = []
    for recall in looks.reader.recalls():
        if recall.closed_at is None:
            left = len(recall.packs) - len(recall.accounted)
            words = f"{len(recall.accounted)} of {len(recall.packs)} packs accounted for; {left} left."
            link = f"/recalls/{recall.load}?reach={recall.reach}"
            found.append(Need("stop", f"Load {recall.load[7:11]} is recalled.", words, link))
    return found


def _loads_needing(looks: Looks) -> list[Need]:
    """Loads on hold, waiting for release, or with a biological unread, machines out of service, and what drifts."""
    found = []
    for load in sorted(looks.unsettled(), key=lambda load: load.began_at, reverse=True):
        link, called = f"/loads/{load.code}", looks.load_name(load)
        if load.held:
            why = f"{load.held[:1].upper()}{load.held[1:]}. {_count(load.packs)}; {_waits_for(looks)}"
            found.append(Need("stop", f"{called} is on hold.", why, link, held=True))
        elif load.steam and load.ended_at and not load.released_at:
            against = against_release(looks.state, load)
            words = against[0].headline if against else f"{_count(load.packs)}; nothing against it so far."
            found.append(Need("ask", f"{called} waits for release.", words, link))
        elif load.released_at and load.biological_lot and load.biological is None:
            words = f"Biological not yet read{looks.due(load)}; released, nothing against it so far."
            found.append(Need("ask", f"{called}.", words, link))
    for machine in looks.state.machines():
        if machine.stopped:
            why = f"{machine.stopped[:1].upper()}{machine.stopped[1:]}."
            found += [Need("stop", f"{machine.name} is out of service.", why, f"/machines/{machine.code}")]
    return [*found, *drift_lines(looks)]


def _count(packs: tuple[str, ...]) -> str:
    return f"{len(packs)} {'pack' if len(packs) == 1 else 'packs'}"


def _waits_for(looks: Looks) -> str:
    """Who may lift a hold."""
    may = [looks.who(person.code) for person in looks.state.people() if person.may_release and not person.left_at]
    return f"waits for {', '.join(may)}." if may else "nobody is named yet who may release it."


def _first(row: tuple[str, Need]) -> tuple[str, str]:
    return row[0], row[1].title
