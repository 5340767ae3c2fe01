"""A set's page, and the search."""

from label_templates import codes
from label_templates.codes import CodeError
from service.custody.records import InstrumentSet
from service.pages.instruments import drawing_of
from service.pages.looks import Looks
from service.pages.views import SearchPage, SetPage, Sheet, SheetLine


def set_page(looks: Looks, owner: InstrumentSet) -> SetPage:
    rows = [("Kind", owner.kind), ("Holds implants", "yes" if owner.implant else "no"), ("Wrap", owner.wrap)]
    if owner.mark_colour:
        rows.append(("Mark", f"{owner.mark_colour}, {owner.mark_pattern}"))
    if owner.bears_c is not None:
        rows.append(("Bears", f"{owner.bears_c} °C"))
    if owner.retired:
        rows.append(("Retired", owner.retired))
    packs = sorted(looks.reader.packs_of(owner.code), key=lambda pack: -pack.turn)
    lines = tuple(looks.pack_line(pack) for pack in packs[:100])
    return SetPage(owner.name, owner.code, tuple(rows), drawn_sheet(owner), bool(owner.retired), lines)


def drawn_sheet(owner: InstrumentSet) -> Sheet:
    """The count sheet of a set with a drawing beside each line that names an instrument we have drawn."""
    groups: dict[str, list[SheetLine]] = {}
    for group, line, count in owner.sheet:
        groups.setdefault(group, []).append(SheetLine(line, count, drawing_of(line)))
    return tuple((group, tuple(lines)) for group, lines in groups.items())


def search_page(looks: Looks, query: str) -> SearchPage | str:
    """The page of a whole code, as its address; otherwise what goes by that name."""
    text = query.strip()[:100]
    address = _address(text.upper())
    if address:
        return address
    wanted = text.casefold()
    found = []
    for owner in looks.state.sets() if wanted else ():
        if wanted in owner.name.casefold():
            pack = looks.state.pack(owner.pack)
            words = f"{looks.state.where(pack)}; {looks.place(pack)}" if pack else "new"
            found.append((owner.name, f"/packs/{pack.code}" if pack else f"/sets/{owner.code}", words))
    for code, _, name, detail in looks.reader.names("patient") if wanted else ():
        if wanted in name.casefold() or code == text.upper():
            for case in looks.reader.cases_of(code):
                words = f"{looks.said(case.opened_at)}: {len(case.packs)} packs opened"
                link = f"/packs/{case.packs[0]}" if case.packs else "/"
                found.append((f"{name}, {detail}", link, words))
    return SearchPage("Search", text, tuple(found[:50]))


def _address(text: str) -> str | None:
    try:
        code = codes.parse(text)
    except CodeError:
        return None
    place = {"P": "packs", "S": "sets", "L": "loads", "W": "loads"}.get(code.letter)
    return f"/{place}/{code.text}" if place else None
