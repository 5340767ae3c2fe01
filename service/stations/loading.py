"""The loading station: load card, packs, OUT, DONE."""

from label_templates.codes import Code
from service.custody.records import Machine
from service.stations.talk import Answer, Talk, number_of

TAKES = "a steam load card, then packs, then DONE"
CHOICES = frozenset({"programme", "test"})
_TESTS = {1: "air removal", 2: "leak", 3: "proving"}


def scan(talk: Talk, code: Code) -> Answer | None:
    if code.letter == "L":
        talk.do("open steam load", load=code.text)
        talk.hand.rest()
        talk.hand.load, talk.hand.last_pack = code.text, None
        load = talk.state.load(code.text)
        inside = f"{len(load.packs)} packs are in it." if load else "It is empty so far."
        return talk.go(f"Steam load {number_of(code.text)} is open.", inside, "Scan each pack as it goes in.")
    if code.letter != "P":
        return None
    load_code = talk.hand.load
    if load_code is None:
        return talk.ask("Which load?", "No steam load is open here.", "Scan a steam load card, then the pack again.")
    return _take_out(talk, code.text, load_code) if talk.hand.step == "out" else _load(talk, code.text, load_code)


def _count(talk: Talk, load_code: str) -> str:
    load = talk.state.load(load_code)
    return f"{len(load.packs) if load else 0} packs in load {number_of(load_code)}."


def _load(talk: Talk, pack: str, load: str) -> Answer:
    talk.still(load)
    written = talk.do("load pack", pack=pack, load=load)
    talk.hand.last_pack, talk.hand.step = pack, ""
    name = talk.pack_name(pack)
    said = f"{name} is in." if written else f"{name} is in this load already."
    return talk.go(said, _count(talk, load), "Scan the next pack, or show DONE.", title=name)


def _take_out(talk: Talk, pack: str, load: str) -> Answer:
    talk.do("take out", pack=pack, load=load)
    talk.hand.step, talk.hand.last_pack = "", None
    name = talk.pack_name(pack)
    return talk.go(f"{name} is out.", _count(talk, load), "Scan the next pack, or show DONE.", title=name)


def card(talk: Talk, word: str) -> Answer | None:
    if word not in {"OUT", "DONE"}:
        return None
    load = talk.hand.load
    if load is None:
        return talk.ask("Which load?", "No steam load is open here.", "Scan the steam load card.")
    if word == "OUT":
        talk.hand.step = "out"
        return talk.ask("Which pack comes out?", _count(talk, load), "Scan it.")
    return _done(talk, load)


def _machine(talk: Talk, load: str) -> Machine:
    talk.do("open steam load", load=load)
    machine = talk.state.machine(load[:6])
    if machine is None:
        raise AssertionError("an open load without its machine")
    return machine


def _programmes(talk: Talk, machine: Machine) -> tuple[str, ...]:
    return machine.programmes or tuple(talk.state.practice.programmes)


def _done(talk: Talk, load_code: str) -> Answer:
    machine = _machine(talk, load_code)
    load = talk.state.load(load_code)
    if not load or not load.packs:
        talk.hand.step = "test"
        return talk.ask(
            "Is this a test?", "No pack is in the load.", "Show 1 air removal, 2 leak, 3 proving; or scan a pack."
        )
    known = _programmes(talk, machine)
    if len(known) == 1:
        return _start(talk, load_code, known[0], "goods")
    talk.hand.step = "programme"
    choices = ", ".join(f"{i} {name}" for i, name in enumerate(known, 1))
    return talk.ask("Which programme?", _count(talk, load_code), f"Show {choices}.")


def number(talk: Talk, value: int) -> Answer | None:
    load, step = talk.hand.load, talk.hand.step
    if load is None or step not in CHOICES:
        return None
    known = _programmes(talk, _machine(talk, load))
    if step == "test" and value in _TESTS:
        return _start(talk, load, known[0], _TESTS[value])
    if step == "programme" and 1 <= value <= len(known):
        return _start(talk, load, known[value - 1], "goods")
    return None


def _start(talk: Talk, load: str, programme: str, kind: str) -> Answer:
    talk.do("start cycle", {"programme": programme, "load_kind": kind}, load=load)
    talk.hand.rest()
    talk.hand.load = talk.hand.last_pack = None
    what = "Its cycle" if kind == "goods" else f"The {kind} test"
    return Answer(
        "go", f"Load {number_of(load)} has started.", f"{what} runs at {programme}.",
        "Close the door, start the machine, and scan the load at unloading when it is done.", load,
    )  # fmt: skip
