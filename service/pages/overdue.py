"""What has stood at a station for longer than the site allows, and how long each soiled set has waited."""

from datetime import date, timedelta

from service.custody.facts import moment
from service.custody.records import InstrumentSet, Load, Pack
from service.custody.rules.overrides import CONFIRM_WITHIN, unconfirmed
from service.pages.looks import Looks, span
from service.pages.views import Need
from service.words.name import Name

Late = tuple[timedelta, Need]
"""How long something has waited, and what is said of it."""


def overdue(looks: Looks) -> list[Need]:
    """Everything that is overdue, the longest first."""
    found = [*_packs(looks), *_loads(looks), *_cases(looks), *_overrides(looks)]
    return [need for _, need in sorted(found, key=lambda late: (-late[0], late[1].title))]


def soiled(looks: Looks, owner: InstrumentSet, pack: Pack) -> Late | None:
    """How long this set has been soiled: since it was opened, or came in; None when it is not."""
    where = looks.state.where(pack)
    if where == "opened" and not pack.used:
        return None
    if where not in {"opened", "soiled"}:
        return None
    since = pack.opened_at
    if since is None and (before := looks.state.packs_of(owner.code)[:-1]):
        since = before[-1].opened_at
    since = since or pack.received_at
    waited = _since(looks, since)
    late = waited > timedelta(hours=looks.state.practice.soiled_hours)
    words = f"soiled for {span(waited)}, since {looks.said(since)}."
    return waited, Need("ask" if late else "go", Name(owner.name), words, f"/packs/{pack.code}", owner.mark_colour)


def _since(looks: Looks, at: str | None) -> timedelta:
    return moment(looks.now) - moment(at) if at else timedelta()


def _packs(looks: Looks) -> list[Late]:
    """Sets soiled or packed for too long."""
    practice, found = looks.state.practice, []
    for owner in looks.state.sets():
        pack = looks.state.pack(owner.pack)
        if owner.retired or pack is None:
            continue
        dirty = soiled(looks, owner, pack)
        if dirty and dirty[1].verdict == "ask":
            words = f"To the wash with it: {dirty[1].text}"
            found.append((dirty[0], Need("ask", f"{owner.name} is soiled.", words, dirty[1].link, owner.mark_colour)))
        waited = _since(looks, pack.packed_at)
        if looks.state.where(pack) == "packed" and waited > timedelta(hours=practice.packed_hours):
            words = f"Packed {span(waited)} ago, and in no load since."
            link = f"/packs/{pack.code}"
            found.append((waited, Need("ask", f"{owner.name} is not loaded.", words, link, owner.mark_colour)))
    return found


def _loads(looks: Looks) -> list[Late]:
    found = []
    for load in looks.unsettled():
        if load.packs and not load.rejected and (said := _load(looks, load, looks.load_name(load))):
            title, words, waited = said
            found.append((waited, Need("ask", title, words, f"/loads/{load.code}")))
    return found


def _load(looks: Looks, load: Load, called: str) -> tuple[str, str, timedelta] | None:
    """What a load should have come to by now: title, words and how long it waits."""
    practice = looks.state.practice
    began, started, ended = (_since(looks, at) for at in (load.began_at, load.started_at, load.ended_at))
    if not load.steam:
        late = load.result is None and began > timedelta(hours=practice.wash_hours)
        return (f"{called} has not ended.", f"Its wash began {span(began)} ago. Scan its end.", began) if late else None
    if load.started_at is None:
        overnight = looks.day(load.began_at) < looks.day(looks.now)
        words = f"Open since {looks.said(load.began_at)}. Start it, or take its packs out."
        return (f"{called} stood open overnight.", words, began) if overnight else None
    if load.ended_at is None:
        late = started > timedelta(hours=practice.cycle_hours)
        words = f"Its cycle began {span(started)} ago. Scan its end."
        return (f"{called} has not ended.", words, started) if late else None
    if not load.released_at and not load.held and ended > timedelta(hours=practice.waiting_hours):
        return f"{called} waits for release.", f"Its cycle ended {span(ended)} ago.", ended
    if due := _biological_late(looks, load):
        words = f"It was due {date.fromisoformat(str(load.biological_due)):%-d %B}."
        return f"{called} has a biological nobody read.", words, due
    return None


def _biological_late(looks: Looks, load: Load) -> timedelta | None:
    """How long ago the day was on which the load's biological should have been read."""
    if not load.biological_lot or load.biologicals:
        return None
    try:
        days = (looks.day(looks.now) - date.fromisoformat(load.biological_due or "")).days
    except ValueError:
        return None
    return timedelta(days=days) if days > 0 else None


def _cases(looks: Looks) -> list[Late]:
    limit, found = timedelta(hours=looks.state.practice.case_hours), []
    for case in looks.reader.open_cases():
        waited = _since(looks, case.opened_at)
        if waited > limit:
            title = f"Case {case.code[5:9]} is still open."
            words = f"{looks.patient(case.patient)}: opened {span(waited)} ago. Close it in theatre."
            link = f"/packs/{case.packs[-1]}" if case.packs else f"/search?q={case.code}"
            found.append((waited, Need("ask", title, words, link)))
    return found


def _overrides(looks: Looks) -> list[Late]:
    found = []
    for pack in looks.reader.overridden():
        waiting = unconfirmed(looks.reader.history("pack", pack.code))
        waited = max((_since(looks, fact.at) for fact in waiting), default=timedelta())
        if waited > CONFIRM_WITHIN:
            title = f"The override on {looks.set_name(pack.set)} is unconfirmed."
            words = f"{looks.who(waiting[0].by)} made it {span(waited)} ago: it waits for the PIN."
            found.append((waited, Need("stop", title, words, f"/packs/{pack.code}")))
    return found
