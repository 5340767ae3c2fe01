"""The office by scan: what speaks for and against a load; release and reject; where a pack or a set is."""

from label_templates.codes import Code
from service.custody.chain import last_seen
from service.custody.rules.packing import SEALED
from service.custody.rules.release import against_release, standing
from service.stations.packing import copy_printed, stuck
from service.stations.store import shelf_name
from service.stations.talk import Answer, Talk, number_of

TAKES = "a load card, a pack or a set tag"


def scan(talk: Talk, code: Code) -> Answer | None:
    if code.letter in "LW":
        return _look(talk, code.text)
    if code.letter == "P" and talk.hand.step == "label":
        return _stuck(talk, code.text)
    if code.letter == "P":
        return _where(talk, code.text)
    if code.letter == "S":
        owner = talk.state.set(code.text)
        if owner and owner.pack:
            return _where(talk, owner.pack)
        words = "It has begun no turn yet." if owner else "No set was ever registered under this code here."
        return talk.ask(f"{talk.set_name(code.text)}.", words, "")
    return None


def _look(talk: Talk, code: str) -> Answer:
    load = talk.state.load(code)
    if load is None:
        return talk.ask(f"Load {number_of(code)} has not begun.", "Nothing was ever put in it.", "Check the card.")
    talk.hand.rest()
    talk.hand.load = code
    if not load.steam:
        return talk.ask(f"Wash load {number_of(code)}: {load.result or 'not ended'}.", f"{len(load.packs)} sets.", "")
    rows = "; ".join(f"{side}: {words}" for side, words in standing(talk.state, load))
    if load.released_at and not load.held:
        return talk.ask(f"Load {number_of(code)} is released.", rows + ".", "")
    if against_release(talk.state, load) or load.held:
        talk.hand.step = "reject"
        return talk.ask(f"Load {number_of(code)} cannot be released by a card.", rows + ".", "Show FAIL to reject it.")
    talk.hand.step = "release"
    return talk.ask(f"Release load {number_of(code)}?", rows + ".", "YES releases, FAIL rejects, NO leaves it.")


def _where(talk: Talk, code: str) -> Answer:
    pack = talk.state.pack(code)
    if pack is None:
        return talk.ask("Not known.", f"No pack was ever begun under {code} here.", "Set it aside.")
    seen_station, _ = last_seen(talk.state, pack)
    place = f"on {shelf_name(pack.shelf)}" if pack.shelf else f"last seen at {seen_station}"
    where = talk.state.where(pack)
    words = ", ".join([where, *talk.state.flags(pack)])
    headline, detail = f"{talk.called(pack)}: {words}; {place}.", "A look, not a leave to open it."
    if not talk.here.prints or where not in SEALED or pack.compromised:
        return talk.ask(headline, detail, "Scan it before opening.")
    talk.hand.rest()
    talk.hand.step, talk.hand.work = "copy", {"pack": code}
    return talk.ask(headline, detail, "Scan it before opening. YES prints its label again, as a copy.")


def _stuck(talk: Talk, code: str) -> Answer:
    stuck(talk, code, talk.hand.work["pack"])
    talk.hand.rest()
    name = talk.pack_name(code)
    return talk.go(f"{name} is labelled.", "", "Put it back where it was.", title=name)


def card(talk: Talk, word: str) -> Answer | None:
    load, step = talk.hand.load, talk.hand.step
    if step == "copy" and word == "YES":
        (printed,) = talk.do("print label", pack=talk.hand.work["pack"])
        return copy_printed(talk, printed)
    if load and step == "release" and word == "YES":
        talk.do("release", load=load)
        talk.hand.rest()
        return Answer("go", f"Load {number_of(load)} is released.", "Nothing against it so far.",
                      "Its packs may go on the shelves.", load)  # fmt: skip
    if load and step in {"release", "reject"} and word == "FAIL":
        talk.hand.step = "why"
        return talk.ask(f"Reject load {number_of(load)}?", "Every pack of it is kept out of use.", "Type the reason.")
    if step and word == "NO":
        talk.hand.rest()
        return talk.go("Left as it was.", "", "")
    return None


def typed(talk: Talk, text: str) -> Answer | None:
    load = talk.hand.load
    if not load or talk.hand.step != "why":
        return None
    talk.do("reject", {"why": text}, load=load)
    talk.hand.rest()
    return Answer("go", f"Load {number_of(load)} is rejected.", "Its packs are kept out of use.",
                  "Take them back: wash or pack again.", load)  # fmt: skip
