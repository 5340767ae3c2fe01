"""The store: a shelf, then the packs that go on it."""

from label_templates.codes import Code
from service.stations.talk import Answer, Talk

TAKES = "a shelf, then packs"


def shelf_name(code: str) -> str:
    return f"shelf {int(code.split('-')[2])}"


def scan(talk: Talk, code: Code) -> Answer | None:
    if code.letter == "H":
        talk.hand.shelf = code.text
        return talk.go(f"{shelf_name(code.text).capitalize()}.", "", "Scan the packs that go on it.")
    if code.letter != "P":
        return None
    if talk.hand.shelf is None:
        return talk.ask("Which shelf?", "No shelf was scanned here.", "Scan the shelf, then the pack again.")
    talk.do("store pack", {"shelf": talk.hand.shelf}, pack=code.text)
    talk.hand.last_pack = code.text
    name = talk.pack_name(code.text)
    return talk.go(
        f"{name} is on {shelf_name(talk.hand.shelf)}.", "", "Scan the next pack, or another shelf.", title=name
    )


def card(_talk: Talk, _word: str) -> Answer | None:
    return None
