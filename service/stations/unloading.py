"""The unloading station: load card, END, packs; WET, TORN, DROPPED, PALE speak of the last pack."""

from label_templates.codes import Code
from service.custody.rules.loading import not_unloaded
from service.stations.talk import Answer, Talk, number_of

TAKES = "a steam load card, END, then each pack as it comes out"
_DISPLAYS = {"PASS": "complete", "FAIL": "fault", "OUT": "aborted"}


def scan(talk: Talk, code: Code) -> Answer | None:
    if code.letter == "L":
        return _open(talk, code.text)
    if code.letter != "P":
        return None
    if talk.hand.load is None:
        return talk.ask("Which load?", "No steam load is open here.", "Scan the steam load card, then the pack again.")
    written = talk.do("unload pack", pack=code.text, load=talk.hand.load)
    talk.hand.last_pack = code.text
    name = talk.pack_name(code.text)
    if not written:
        return talk.go(f"{name} is out already.", _left(talk), title=name)
    return talk.go(
        f"{name}: dry, whole, tape turned.", _left(talk), "If not, show WET, TORN, DROPPED or PALE now.", title=name
    )


def _open(talk: Talk, load_code: str) -> Answer:
    talk.do("open for unloading", load=load_code)
    talk.hand.rest()
    talk.hand.load, talk.hand.last_pack = load_code, None
    load = talk.state.load(load_code)
    if load and load.ended_at is None:
        return talk.go(
            f"Load {number_of(load_code)}: {len(load.packs)} packs.", "Its end is not recorded yet.",
            "Show END, then say what the display showed.",
        )  # fmt: skip
    return talk.go(f"Load {number_of(load_code)} is open.", _left(talk), "Scan each pack as it comes out.")


def _left(talk: Talk) -> str:
    load = talk.state.load(talk.hand.load)
    if load is None:
        return ""
    left = not_unloaded(talk.state, load)
    return f"{len(load.packs) - len(left)} of {len(load.packs)} packs are out."


def card(talk: Talk, word: str) -> Answer | None:
    load = talk.hand.load
    if word in {"END", "DONE"} and load is None:
        return talk.ask("Which load?", "No steam load is open here.", "Scan the steam load card.")
    if word == "END":
        talk.hand.step = "display"
        return talk.ask(
            "What did the display say?",
            "",
            "Show PASS for complete, FAIL for a fault, OUT for aborted or cut by power.",
        )
    if talk.hand.step == "display" and word in _DISPLAYS:
        return _ended(talk, _DISPLAYS[word])
    if word == "PALE":
        return _pale(talk)
    if word == "DONE" and load:
        return _done(talk, load)
    return None


def _ended(talk: Talk, display: str) -> Answer:
    talk.do("end cycle", {"display": display}, load=talk.hand.load)
    talk.hand.step = ""
    if display != "complete":
        return talk.go("The end is recorded.", f"The display said {display}: this load can only be rejected.",
                       "Scan the packs out, and keep them apart.")  # fmt: skip
    return talk.go("The end is recorded.", "The display said complete.", "Scan each pack as it comes out.")


def _pale(talk: Talk) -> Answer | None:
    pack = talk.hand.last_pack
    if pack is None:
        return talk.ask("Which pack?", "PALE speaks of the last pack scanned here.", "Scan the pack, then show PALE.")
    talk.do("pale tape", pack=pack, load=talk.hand.load)
    return Answer(
        "go", f"{talk.pack_name(pack)}: tape pale.", "This pack is kept out of use. Steam may not have reached it.",
        "Keep it apart, and look at the rest of the load.", pack,
    )  # fmt: skip


def _done(talk: Talk, load_code: str) -> Answer:
    load = talk.state.load(load_code)
    left = not_unloaded(talk.state, load) if load else []
    if left:
        names = ", ".join(f"{talk.called(pack)} ({pack.code})" for pack in left)
        return talk.ask(
            f"{len(left)} packs were not scanned.", names + ".",
            "Look in the chamber and scan them. Until then the load cannot be released.", "not_all_unloaded",
        )  # fmt: skip
    talk.hand.rest()
    talk.hand.load = talk.hand.last_pack = None
    count = len(load.packs) if load else 0
    return talk.go(
        f"Load {number_of(load_code)}: all {count} packs accounted for.", "It waits for release.",
        "Take the packs to a quarantine shelf, or wait for the release.",
    )  # fmt: skip
