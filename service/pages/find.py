"""A set's page, and the search."""

import re
from typing import cast

from label_templates import codes
from label_templates.codes import CodeError
from service.custody.records import Case, InstrumentSet, Load, Pack
from service.pages.days import bounds, days
from service.pages.instruments import drawing_of
from service.pages.looks import Looks
from service.pages.views import Found, FoundGroup, SearchPage, SetPage, Sheet, SheetLine
from service.words.name import Name


def set_page(looks: Looks, owner: InstrumentSet) -> SetPage:
    rows = [("Kind", owner.kind), ("Holds implants", "yes" if owner.implant else "no"), ("Wrap", owner.wrap)]
    if owner.mark_colour:
        rows.append(("Mark", f"{owner.mark_colour}, {owner.mark_pattern}"))
    if owner.bears_c is not None:
        rows.append(("Bears", f"{owner.bears_c} °C"))
    if owner.hollow:
        rows.append(("Hollow", "yes: only where the air is pumped out"))
    if not owner.immersible:
        rows.append(("Under water", "no: cleaned by hand"))
    if owner.retired:
        rows.append(("Retired", owner.retired))
    packs = sorted(looks.reader.packs_of(owner.code), key=lambda pack: -pack.turn)
    lines = tuple(looks.pack_line(pack) for pack in packs[:100])
    return SetPage(Name(owner.name), owner.code, tuple(rows), drawn_sheet(owner), bool(owner.retired), lines)


def drawn_sheet(owner: InstrumentSet) -> Sheet:
    """The count sheet of a set with a drawing beside each line that names an instrument we have drawn."""
    groups: dict[str, list[SheetLine]] = {}
    for group, line, count in owner.sheet:
        groups.setdefault(group, []).append(SheetLine(line, count, drawing_of(line)))
    return tuple((group, tuple(lines)) for group, lines in groups.items())


MOST = 200
"""Rows of one kind that a search shows."""


def search_page(looks: Looks, query: str) -> SearchPage | str:
    """The page of a whole code, as its address; otherwise what happened on those days, or goes by that name."""
    text = query.strip()[:100]
    address = _address(text.upper())
    if address:
        return address
    period = days(text, looks.day(looks.now)) if text else None
    if period:
        return SearchPage("Search", text, looks.period(*period), _of_days(looks, *bounds(*period, looks.zone)))
    groups = (_sets(looks, text), _loads(looks, text), _patients(looks, text)) if text else ()
    return SearchPage("Search", text, "", tuple(group for group in groups if group.rows))


def _of_days(looks: Looks, since: str, until: str) -> tuple[FoundGroup, ...]:
    """What happened from `since` up to `until`."""
    packs, loads, cases = (looks.reader.between(kind, since, until, MOST + 1) for kind in ("pack", "load", "case"))
    return (
        _group("Packs opened", [_opened(looks, pack) for pack in cast("list[Pack]", packs)], "No pack was opened."),
        _group("Loads begun", [_load(looks, load) for load in cast("list[Load]", loads)], "No load began."),
        _group("Cases", [_case(looks, case) for case in cast("list[Case]", cases)], "No case was opened."),
    )


def _group(title: str, rows: list[Found], none: str = "") -> FoundGroup:
    more = f"The first {MOST} are shown: take fewer days." if len(rows) > MOST else ""
    return FoundGroup(title, tuple(rows[:MOST]), more or ("" if rows else none))


def _opened(looks: Looks, pack: Pack) -> Found:
    said = looks.said(pack.opened_at)
    words = f"opened {said} for {looks.patient(pack.patient)}" if pack.patient else f"opened {said} and not used"
    return Found(f"{looks.set_name(pack.set)}, turn {pack.turn}", f"/packs/{pack.code}", pack.code, words)


def _load(looks: Looks, load: Load) -> Found:
    things = f"{len(load.packs)} {'packs' if load.steam else 'sets'}"
    what = things if load.load_kind in {None, "goods"} else f"{load.load_kind} test"
    said = [
        f"{what}, began {looks.said(load.began_at)}",
        *(word for word, is_so in (("on hold", load.held), ("rejected", load.rejected)) if is_so),
    ]
    return Found(looks.load_name(load), f"/loads/{load.code}", load.code, "; ".join(said))


def _case(looks: Looks, case: Case) -> Found:
    names = [looks.set_name(pack.set) for code in case.packs if (pack := looks.state.pack(code))]
    began = looks.said(case.opened_at)
    when = f"{began} to {looks.said(case.closed_at)}" if case.closed_at else f"{began}, still open"
    words = f"{looks.patient(case.patient)}; {when}; {', '.join(names) or 'no pack opened'}"
    return Found(f"Case {case.code[5:9]}", f"/packs/{case.packs[0]}" if case.packs else "", case.code, words)


def _sets(looks: Looks, text: str) -> FoundGroup:
    wanted, rows = text.casefold(), []
    for owner in looks.state.sets():
        if wanted in owner.name.casefold():
            pack = looks.state.pack(owner.pack)
            words = f"{looks.state.where(pack)}; {looks.place(pack)}" if pack else "new"
            link, code = (f"/packs/{pack.code}", pack.code) if pack else (f"/sets/{owner.code}", owner.code)
            rows.append(Found(Name(owner.name), link, code, words))
    return _group("Sets", rows)


def _loads(looks: Looks, text: str) -> FoundGroup:
    """Loads by their number alone, as people say it: `334`, `load 0334`."""
    said = re.fullmatch(r"(?:load )?(\d{1,4})", text.casefold())
    rows = []
    for machine in looks.state.machines() if said and int(said[1]) else ():
        load = looks.state.load(codes.load_code(machine.code, int(said[1])).text) if said else None
        if load:
            rows.append(_load(looks, load))
    return _group("Loads", rows)


def _patients(looks: Looks, text: str) -> FoundGroup:
    """The cases of whoever goes by that name, wholly or in part, or by that code, now or before."""
    wanted, code = text.casefold(), text.upper()
    case = looks.state.case(code)
    known = [one for one, _, name, _ in looks.reader.names("patient") if wanted in name.casefold()]
    whose = dict.fromkeys([looks.state.known_as(code), *known[:MOST]])
    cases = [one for patient in whose for told in (patient, *looks.reader.codes_of(patient))
             for one in looks.reader.cases_of(told)]  # fmt: skip
    found = dict.fromkeys([*([case] if case else []), *cases])
    return _group("Cases", [_case(looks, one) for one in found])


def _address(text: str) -> str | None:
    try:
        code = codes.parse(text)
    except CodeError:
        return None
    place = {"P": "packs", "S": "sets", "L": "loads", "W": "loads"}.get(code.letter)
    return f"/{place}/{code.text}" if place else None
