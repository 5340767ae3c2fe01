"""Indicators: placed in a load, read, photographed; and what a bad reading stops."""

from typing import Any

from service.custody.chain import State
from service.custody.facts import Fact
from service.custody.records import Load
from service.custody.rules.act import Act
from service.custody.rules.anywhere import BadValue, working_machine
from service.custody.rules.loading import STERILISERS, NotInLoad
from service.custody.rules.release import held_by_rule, known_load

RESULTS = {
    "tape": ("turned", "pale"),
    "strip": ("turned", "pale"),
    "biological": ("negative", "positive", "void"),
    "air removal": ("pass", "fail"),
    "leak": ("pass", "fail"),
}
"""What each kind of indicator can say. The kinds are no ranking."""


def _known_indicator(name: object) -> str:
    if name not in RESULTS:
        raise BadValue(what="This indicator", why=f"{name!r} is not one.", todo=f"Choose among {', '.join(RESULTS)}.")
    return str(name)


def place_indicator(state: State, act: Act) -> list[Fact]:
    """An indicator goes into a load; a biological has a lot and a day it is due."""
    if state.load(act.load) is None:
        working_machine(state, str(act.load), STERILISERS, proving=True)
    data = {key: act.data.get(key) for key in ("indicator", "lot", "control_lot", "due")}
    if _known_indicator(data["indicator"]) == "biological" and not data["lot"]:
        raise BadValue(what="This biological", why="Its lot is not named.", todo="Read the lot from the vial.")
    return [act.fact("indicator_placed", data, set=None, pack=None)]


def read_indicator(state: State, act: Act) -> list[Fact]:
    """An indicator of a load is read. A positive biological holds the load by rule."""
    load = known_load(state, act)
    data = {key: act.data.get(key) for key in ("indicator", "result", "lot")}
    results = RESULTS[_known_indicator(data["indicator"])]
    if data["result"] not in results:
        todo = f"Choose among {', '.join(results)}."
        raise BadValue(what="This result", why=f"{data['result']!r} is not one of a {data['indicator']}.", todo=todo)
    if act.data.get("reader"):
        data["reader"] = act.data["reader"]
    if data["indicator"] == "biological":
        data["control"] = act.data.get("control") or "not read"
        data["result"] = _biological_result(load, data)
    facts = [act.fact("indicator_read", data, set=None, pack=None)]
    if data["indicator"] == "biological" and data["result"] == "positive" and not load.rejected:
        facts.append(held_by_rule(act, f"its biological indicator, lot {data['lot']}, is positive"))
    return facts + _stop_by_rule(state, act, load, (str(data["indicator"]), str(data["result"])))


STOPPING = {
    ("air removal", "fail"): "The air removal test of load {load} failed",
    ("leak", "fail"): "The leak test of load {load} failed",
    ("biological", "positive"): "The biological of load {load} is positive",
}
"""What stops a machine until it is proven. A positive biological: CDC 2008, table 12; failed tests: common practice, no
source."""


def _stop_by_rule(state: State, act: Act, load: Load, read: tuple[str, str]) -> list[Fact]:
    """The stop that a bad reading brings; while a machine is proven, only one of a load since, and all begins anew."""
    machine = state.machine(load.machine)
    if read not in STOPPING or machine is None or machine.kind not in STERILISERS:
        return []
    if load.started_seq < machine.prove_since:
        return []
    told = {"machine": machine.code, "why": STOPPING[read].format(load=load.code), "prove": True}
    return [act.fact("machine_stopped", told, set=None, pack=None, load=None)]


PHOTOS_OF = (*RESULTS, "printout")
"""What a photo that is kept with a load shows."""


def keep_photo(state: State, act: Act) -> list[Fact]:
    """A photo of an indicator or a printout is kept with its load; of a strip, with the pack it lay in."""
    load = known_load(state, act)
    data = {key: act.data.get(key) for key in ("of", "sha256", "media")}
    if data["of"] not in PHOTOS_OF:
        todo = f"Choose among {', '.join(PHOTOS_OF)}."
        raise BadValue(what="This photo", why=f"{data['of']!r} is nothing a photo is kept of.", todo=todo)
    pack = state.pack(act.pack)
    if act.pack and (pack is None or pack.code not in load.packs):
        raise NotInLoad(name=act.pack, load=load.code)
    return [act.fact("photo_kept", data, set=pack.set if pack else None)]


def _biological_result(load: Load, data: dict[str, Any]) -> str:
    """A negative counts only beside a control of the same lot that grew; otherwise the test is void.

    Same lot: MMWR 2003;52(RR-17) F.6 (READ); the void rule: common practice, no source. A positive stays positive.
    """
    if data["result"] != "negative":
        return str(data["result"])
    same_lot = load.biological_lot is None or data["lot"] == load.biological_lot == load.control_lot
    return "negative" if data["control"] == "grew" and same_lot else "void"
