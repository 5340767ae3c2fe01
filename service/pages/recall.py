"""A recall's page, to walk through, and the list of recalls."""

from service.custody.recall import REACHES, advised, report
from service.custody.records import Load
from service.pages.looks import Looks
from service.pages.views import (
    RecallPage,
    RecallsPage,
)


def recall_page(looks: Looks, load: Load, asked: str) -> RecallPage:
    """`asked` is a reach, or empty for the one that the site's policy advises."""
    advice = advised(looks.state, load)
    reach = asked or (advice.reach if advice else "load")
    found = report(looks.state, load, reach)
    opened = next((r for r in looks.reader.recalls() if r.load == load.code and r.reach == reach), None)
    packs = []
    for row in found["packs"]:
        pack = looks.state.pack(row["pack"])
        if pack:
            packs.append(looks.pack_line(pack, bool(opened and pack.code in opened.accounted)))
    reaches = {name: words for name, words in REACHES.items() if load.steam or name in {"load", "onward"}}
    return RecallPage(
        f"Recall of load {load.code[7:11]}", load.code, reach, found["why"], tuple(reaches.items()),
        tuple(found["loads"]),
        tuple(packs), tuple((code, looks.patient(code)) for code in found["patients"]),
        opened.code if opened else None,
        f"Opened {looks.said(opened.opened_at)}: {opened.why}." if opened else "", bool(opened and opened.closed_at),
        len(opened.packs) - len(opened.accounted) if opened else 0,
        *((advice.reach, advice.words, advice.why) if advice else ()),
    )  # fmt: skip


def recalls_page(looks: Looks) -> RecallsPage:
    rows = []
    for r in looks.reader.recalls():
        state = "closed" if r.closed_at else f"{len(r.accounted)} of {len(r.packs)} accounted for"
        rows.append((r.load, f"/recalls/{r.load}?reach={r.reach}", r.why, f"{looks.said(r.opened_at)};{state}"))
    return RecallsPage("Recalls", tuple(rows))
