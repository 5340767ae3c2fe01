"""The board: where every set is, and who is needed."""

from typing import cast

from service.custody.chain import CIRCLE, expired, use_by
from service.custody.facts import moment
from service.custody.records import InstrumentSet, Machine, Pack
from service.custody.rules.release import against_release
from service.pages import drawing
from service.pages.looks import Looks
from service.pages.views import (
    BoardPage,
    Need,
    Segment,
    Tile,
)

WEEK = 7


def board_page(looks: Looks) -> BoardPage:
    sets = [owner for owner in looks.state.sets() if not owner.retired]
    places: dict[str, list[Tile]] = {state: [] for state in CIRCLE}
    needs: list[tuple[str, Need]] = []
    expiring: list[tuple[str, Need]] = []
    ready = 0
    for owner in sets:
        pack = looks.state.pack(owner.pack)
        if pack is None:
            places["soiled"].append(Tile(owner.name, f"/sets/{owner.code}", owner.mark_pattern or "", ""))
            continue
        where, flags = looks.state.where(pack), looks.state.flags(pack)
        out = where != "opened" and expired(pack, looks.state.load(pack.load), looks.now, looks.zone)
        note = ", ".join([*flags, *(["out of date"] if out else [])]) if where != "opened" else ""
        places[where].append(Tile(owner.name, f"/packs/{pack.code}", owner.mark_pattern or "", note))
        ready += where == "released" and not flags and not out and not pack.short
        if where == "released" and (soon := _expiry(looks, owner, pack)):
            (needs if out else expiring).append(soon)
    segments = tuple(Segment(state, tuple(tiles)) for state, tiles in places.items())
    urgent = [*_recalls_needing(looks), *_loads_needing(looks), *(need for _, need in sorted(needs, key=_first))]
    order = {"stop": 0, "ask": 1, "go": 2}
    return BoardPage(
        looks.state.practice.name, segments, drawing.the_round(segments, len(sets)), ready, len(sets),
        tuple(sorted(urgent, key=lambda need: order[need.verdict])),
        tuple(need for _, need in sorted(expiring, key=_first)),
    )  # fmt: skip


def _expiry(looks: Looks, owner: InstrumentSet, pack: Pack) -> tuple[str, Need] | None:
    """A pack that goes out of date within a week: its last day and what is said of it. One that is already: too."""
    last = use_by(pack, looks.state.load(pack.load), looks.zone)
    today = moment(looks.now).astimezone(looks.zone).date()
    if last is None or (last - today).days > WEEK:
        return None
    if last < today:
        words = f"Its last day was {last:%-d %B}. Pack it again."
        return last.isoformat(), Need("ask", f"{owner.name} is out of date.", words, f"/packs/{pack.code}")
    words = f"Use by {last:%-d %B}; {looks.place(pack)}."
    return last.isoformat(), Need("go", owner.name, words, f"/packs/{pack.code}")


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
    found = []
    for load in looks.reader.loads(60, "L"):
        link, number = f"/loads/{load.code}", load.code[7:11]
        if load.load_kind not in {None, "goods"} or load.rejected:
            continue
        if load.held:
            found.append(Need("stop", f"Load {number} is on hold.", f"{load.held[:1].upper()}{load.held[1:]}.", link))
        elif load.ended_at and not load.released_at:
            against = against_release(looks.state, load)
            words = against[0].headline if against else f"{len(load.packs)} packs; nothing against it so far."
            found.append(Need("ask", f"Load {number} waits for release.", words, link))
        elif load.released_at and load.biological_lot and load.biological is None:
            words = f"Biological not yet read{looks.due(load)}; released, nothing against it so far."
            found.append(Need("ask", f"Load {number}.", words, link))
    for machine in cast("list[Machine]", looks.state.everything("machine")):
        if machine.stopped:
            why = f"{machine.stopped[:1].upper()}{machine.stopped[1:]}."
            found += [Need("stop", f"{machine.name} is out of service.", why, "/loads")]
    return found


def _first(row: tuple[str, Need]) -> tuple[str, str]:
    return row[0], row[1].title
