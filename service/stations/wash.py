"""The wash station: load card, set tags, DONE, PASS or FAIL."""

from label_templates.codes import Code
from service.stations.talk import Answer, Talk, number_of

TAKES = "a wash load card, then set tags, then DONE"


def scan(talk: Talk, code: Code) -> Answer | None:
    match code.letter:
        case "W":
            talk.do("open wash load", load=code.text)
            talk.hand.rest()
            talk.hand.load = code.text
            load = talk.state.load(code.text)
            inside = f"{len(load.packs)} sets are in it." if load else "It is empty so far."
            return talk.go(f"Wash load {number_of(code.text)} is open.", inside, "Scan the tag of each set.")
        case "S":
            return _wash(talk, code.text)
        case "P":
            then = "Scan the tag that belongs to the set."
            return talk.stop("wrong_kind", "The wash takes set tags.", "This is the label of a pack.", then)
        case _:
            return None


def _wash(talk: Talk, set_code: str) -> Answer:
    load = talk.hand.load
    if load is None:
        return talk.ask("Which wash load?", "No wash load is open here.", "Scan a wash load card, then the set again.")
    talk.still(load)
    written = talk.do("wash set", set=set_code, load=load)
    name = talk.set_name(set_code)
    owner = talk.state.set(set_code)
    record = talk.state.load(load)
    talk.hand.last_pack = owner.pack if owner else None
    count = len(record.packs) if record else 0
    if not written:
        return talk.go(f"{name} is in this wash already.", f"{count} sets in load {number_of(load)}.", title=name)
    turn = owner.turn if owner else 0
    return talk.go(
        f"{name} is in the wash.",
        f"Turn {turn}. {count} sets in load {number_of(load)}.",
        "Scan the next set, or show DONE.",
        title=name,
    )


def card(talk: Talk, word: str) -> Answer | None:
    if word not in {"DONE", "PASS", "FAIL"}:
        return None
    load = talk.hand.load
    if load is None:
        return talk.ask("Which wash load?", "No wash load is open here.", "Scan the wash load card.")
    if word == "DONE":
        talk.hand.step = "result"
        return talk.ask(
            f"How did wash load {number_of(load)} end?", "When the machine has finished, say how.", "Show PASS or FAIL."
        )
    talk.do("end wash", {"result": word.lower()}, load=load)
    record = talk.state.load(load)
    count = len(record.packs) if record else 0
    talk.hand.rest()
    talk.hand.load = None
    if word == "PASS":
        return talk.go(f"Wash load {number_of(load)} passed.", f"{count} sets are clean.", "Take them to packing.")
    return talk.go(
        f"Wash load {number_of(load)} failed.",
        f"{count} sets count as soiled.",
        "Wash them again with a new load card.",
    )
