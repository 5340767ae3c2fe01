"""How each fact changes each record it names. `chain.evolve` picks the records; here is what becomes of them."""

from collections.abc import Callable
from typing import Any

from service.custody.facts import Fact
from service.custody.records import (
    Case,
    InstrumentSet,
    IssuedLabel,
    Load,
    Machine,
    Pack,
    Patient,
    Person,
    Recall,
    Record,
    Series,
    Site,
    changed,
)

Fold = Callable[[Any, Fact], Any]


def _marked(**changes: Any) -> Fold:
    return lambda record, _fact: changed(record, **changes)


# A pack


def _pack_received(_: Pack | None, fact: Fact) -> Pack:
    return Pack(
        code=str(fact.pack),
        set=str(fact.set),
        turn=fact.data["turn"],
        enter=fact.data["enter"],
        received_at=fact.at,
        came_from=fact.data.get("from"),
    )


def _pack_inspected(pack: Pack, fact: Fact) -> Pack:
    good = fact.data["clean"] and fact.data["dry"]
    return changed(pack, clean=good, works=fact.data["works"], rewash=pack.rewash or not fact.data["clean"])


def _pack_packed(pack: Pack, fact: Fact) -> Pack:
    data = fact.data
    gauze = sum(line["found"] for line in data["lines"] if "gauze" in line["line"].casefold())
    return changed(
        pack,
        packed_at=fact.at,
        packed_by=fact.by,
        short=tuple(f"{line['line']}: {line['found']} of {line['expected']}" for line in data["short"]),
        gauze=gauze,
        wrap=data["wrap"],
        strip_lot=data["strip_lot"],
        shelf_days=data.get("shelf_days"),
        implant=data["implant"],
    )


def _pack_unloaded(pack: Pack, fact: Fact) -> Pack:
    return changed(pack, unloaded_at=fact.at, tape=fact.data["tape"])


def _pack_opened(pack: Pack, fact: Fact) -> Pack:
    return changed(
        pack,
        opened_at=fact.at,
        patient=fact.patient,
        case=fact.data.get("case"),
        used=fact.data.get("used", True),
        shelf=None,
    )


def _pack_indicator(pack: Pack, fact: Fact) -> Pack:
    if fact.data["indicator"] == "tape":
        return changed(pack, tape=fact.data["result"])
    if fact.data["indicator"] == "strip":
        return changed(pack, strip=fact.data["result"])
    return pack


def _add(name: str, value: Callable[[Fact], str]) -> Fold:
    def fold(record: Any, fact: Fact) -> Any:
        held = getattr(record, name)
        found = value(fact)
        return record if found in held else changed(record, **{name: (*held, found)})

    return fold


PACK: dict[str, Fold] = {
    "received": _pack_received,
    "wash_loaded": lambda p, f: changed(p, wash=f.load, rewash=False, clean=False),
    "inspected": _pack_inspected,
    "packed": _pack_packed,
    "label_printed": lambda p, _: changed(p, prints=p.prints + 1),
    "labelled": lambda p, f: changed(p, labelled_at=f.at),
    "loaded": lambda p, f: changed(p, load=f.load, loaded_at=f.at),
    "taken_out": _marked(load=None, loaded_at=None),
    "unloaded": _pack_unloaded,
    "stored": lambda p, f: changed(p, shelf=f.data["shelf"]),
    "opened": _pack_opened,
    "returned": _marked(shelf=None),
    "compromised": _add("compromised", lambda f: f.data["why"]),
    "indicator_read": _pack_indicator,
    "recalled": _add("recalls", lambda f: f.data["recall"]),
    "accounted": _add("accounted", lambda f: f.data["recall"]),
    "overridden": _add("overridden", lambda f: f.data["rule"]),
}

# A load


def _begun(load: Load | None, fact: Fact) -> Load:
    return load or Load(code=str(fact.load), machine=str(fact.load)[:6], began_at=fact.at)


def _load_placed(load: Load | None, fact: Fact) -> Load:
    load, data = _begun(load, fact), fact.data
    if data["indicator"] != "biological":
        return load
    return changed(load, biological_lot=data["lot"], control_lot=data["control_lot"], biological_due=data["due"])


def _load_packs(load: Load | None, fact: Fact) -> Load:
    load = _begun(load, fact)
    pack = str(fact.pack)
    return load if pack in load.packs else changed(load, packs=(*load.packs, pack))


def _load_started(load: Load | None, fact: Fact) -> Load:
    return changed(
        _begun(load, fact),
        started_at=fact.at,
        started_seq=fact.seq,
        programme=fact.data["programme"],
        load_kind=fact.data["load_kind"],
        why=fact.data.get("why"),
    )


def _load_judged(load: Load, fact: Fact) -> Load:
    data = fact.data
    return changed(
        load,
        verdict=data["verdict"],
        basis=data["basis"],
        hold_s=data["hold_s"],
        f0_hundredths=data["f0_hundredths"],
        plateau_c_hundredths=data.get("plateau_c_hundredths"),
        heating_s=data.get("heating_s"),
        drying_s=data.get("drying_s"),
        log_sha256=data["log_sha256"],
        judged_at=fact.at,
    )


def _load_indicator(load: Load, fact: Fact) -> Load:
    match fact.data["indicator"]:
        case "biological":
            return changed(load, biologicals=(*load.biologicals, fact.data["result"]))
        case "air removal" | "leak":
            return changed(load, air_removal=fact.data["result"])
        case "strip":
            return changed(load, strips=(*load.strips, f"{fact.pack} {fact.data['result']}"))
        case _:
            return load


LOAD: dict[str, Fold] = {
    "wash_loaded": _load_packs,
    "loaded": _load_packs,
    "taken_out": lambda r, f: changed(r, packs=tuple(p for p in r.packs if p != f.pack)),
    "wash_ended": lambda r, f: changed(r, ended_at=f.at, result=f.data["result"]),
    "cycle_started": _load_started,
    "cycle_ended": lambda r, f: changed(r, ended_at=f.at, display=f.data["display"]),
    "cycle_judged": _load_judged,
    "indicator_placed": _load_placed,
    "indicator_read": _load_indicator,
    "released": lambda r, f: changed(r, released_at=f.at, released_by=f.by, alone=f.data["alone"], held=None),
    "rejected": lambda r, f: changed(r, rejected=f.data["why"]),
    "held": lambda r, f: changed(r, held=f.data["why"]),
    "recall_opened": _add("recalls", lambda f: f.data["recall"]),
}

# A set


def _set_registered(_: InstrumentSet | None, fact: Fact) -> InstrumentSet:
    data = fact.data
    mark = data.get("mark") or {}
    return InstrumentSet(
        code=str(fact.set),
        name=data["name"],
        kind=data["kind"],
        implant=data["implant"],
        sheet=_sheet(fact),
        mark_colour=mark.get("colour"),
        mark_pattern=mark.get("pattern"),
        wrap=data.get("wrap") or "double",
        bears_c=data.get("bears_c"),
        hollow=bool(data.get("hollow")),
        immersible=data.get("immersible") is not False,
    )


def _sheet(fact: Fact) -> tuple[tuple[str, str, int], ...]:
    return tuple((line["group"], line["line"], line["count"]) for line in fact.data["sheet"])


SET: dict[str, Fold] = {
    "set_registered": _set_registered,
    "set_changed": lambda r, f: changed(r, sheet=_sheet(f)),
    "set_retired": lambda r, f: changed(r, retired=f.data["why"]),
    "received": lambda r, f: changed(r, turn=max(r.turn, f.data["turn"]), pack=f.pack),
}

# A case, a machine, people, patients, recalls, the site


def _case_opened(_: Case | None, fact: Fact) -> Case:
    return Case(code=fact.data["case"], patient=str(fact.patient), opened_at=fact.at)


def _case_counted(case: Case, fact: Fact) -> Case:
    data = fact.data
    count = (data["item"], data["moment"], data["expected"], data["found"])
    return changed(case, counts=(*case.counts, count))


CASE: dict[str, Fold] = {
    "case_opened": _case_opened,
    "opened": lambda c, f: changed(c, packs=(*c.packs, str(f.pack))),
    "counted": _case_counted,
    "case_closed": lambda c, f: changed(c, closed_at=f.at, why=f.data.get("why")),
}


def _machine_registered(machine: Machine | None, fact: Fact) -> Machine:
    data = fact.data
    return Machine(
        code=data["machine"],
        kind=data["kind"],
        removal=data["removal"],
        name=data.get("name") or data["machine"],
        programmes=tuple(data.get("programmes") or ()),
        steps=tuple(data.get("steps") or ()),
        stopped=machine.stopped if machine else None,
        prove_since=machine.prove_since if machine else 0,
        services=machine.services if machine else (),
        counter=machine.counter if machine else None,
    )


def _machine_serviced(machine: Machine, fact: Fact) -> Machine:
    data = fact.data
    others = tuple(one for one in machine.services if one[0] != data["what"])
    counter = machine.counter if data["counter"] is None else data["counter"]
    return changed(machine, services=(*others, (data["what"], fact.at, data["next_due"])), counter=counter)


MACHINE: dict[str, Fold] = {
    "machine_registered": _machine_registered,
    "machine_stopped": lambda m, f: changed(
        m, stopped=f.data["why"], prove_since=f.seq if f.data.get("prove") else m.prove_since
    ),
    "machine_serviced": _machine_serviced,
    "machine_returned": _marked(stopped=None, prove_since=0),
    "indicator_read": lambda m, f: (
        changed(m, air_removal_at=f.at) if (f.data["indicator"], f.data["result"]) == ("air removal", "pass") else m
    ),
}
PERSON: dict[str, Fold] = {
    "staff_enrolled": lambda _, f: Person(
        f.data["badge"], tuple(f.data["roles"]), bool(f.data.get("may_release")), enrolled_at=f.at
    ),
    "staff_left": lambda p, f: changed(p, left_at=f.at),
}
PATIENT: dict[str, Fold] = {
    "case_opened": lambda p, f: p or Patient(str(f.patient)),
    "opened": lambda p, f: p or Patient(str(f.patient)),
    "patient_identified": lambda p, f: changed(p or Patient(f.data["was"]), now=f.patient),
}
RECALL: dict[str, Fold] = {
    "recall_opened": lambda _, f: Recall(f.data["recall"], str(f.load), f.data["reach"], f.data["why"], f.at),
    "recalled": _add("packs", lambda f: str(f.pack)),
    "accounted": _add("accounted", lambda f: str(f.pack)),
    "recall_closed": lambda r, f: changed(r, closed_at=f.at),
}
SITE: dict[str, Fold] = {
    "site_opened": lambda _, f: Site(f.site, f.data["name"]),
    "key_named": lambda s, f: changed(s, key=f.data["key"]),
    "case_opened": lambda s, f: changed(s, case=max(s.case, f.data["number"])),
    "set_registered": lambda s, f: changed(s, set=max(s.set, f.data["number"])),
}


def _series_issued(series: Series | None, fact: Fact) -> Series:
    last = fact.data["first"] + fact.data["count"] - 1
    return Series(fact.data["series"], max(series.last, last) if series else last)


def _label(label: IssuedLabel | None, fact: Fact) -> IssuedLabel:
    return label or IssuedLabel(fact.data["code"])


SERIES: dict[str, Fold] = {"codes_issued": _series_issued}
LABEL: dict[str, Fold] = {
    "label_printed": lambda r, f: changed(_label(r, f), prints=f.data["copy"]),
    "code_voided": lambda r, f: changed(_label(r, f), voided=f.data["why"]),
}
FOLDS: dict[str, dict[str, Fold]] = {
    "pack": PACK, "load": LOAD, "set": SET, "case": CASE, "machine": MACHINE, "person": PERSON,
    "patient": PATIENT, "recall": RECALL, "site": SITE, "series": SERIES, "label": LABEL,
}  # fmt: skip


BIRTHS = frozenset({("pack", "received"), ("set", "set_registered"), ("case", "case_opened"), ("site", "site_opened")})
"""Where a record begins: what was kept under its code before, nothing by the rules, does not count."""


def touched(fact: Fact) -> list[tuple[str, str]]:
    """The records that `fact` changes, as (kind, code)."""
    data, kind = fact.data, fact.kind
    names: list[tuple[str, str | None]] = []
    if kind in PACK:
        names.append(("pack", fact.pack))
    if kind in LOAD:
        names.append(("load", fact.load))
    if kind in SET:
        names.append(("set", fact.set))
    if kind in CASE:
        names.append(("case", data.get("case")))
    if kind in PATIENT:
        names.append(("patient", data["was"] if kind == "patient_identified" else fact.patient))
    if kind in RECALL:
        names.append(("recall", data["recall"]))
    if kind in SITE:
        names.append(("site", fact.site))
    if kind in SERIES:
        names.append(("series", data["series"]))
    if kind in LABEL:
        names.append(("label", data.get("code")))
    if kind in PERSON:
        names.append(("person", data["badge"]))
    if kind in MACHINE:
        names.append(("machine", data.get("machine") or (fact.load[:6] if fact.load else None)))
    return [(name, code) for name, code in names if code]


def named(fact: Fact) -> list[tuple[str, str]]:
    """The records whose history `fact` belongs to, changed by it or not, as (kind, code)."""
    within = [(name, fact.data.get(name)) for name in ("case", "machine")]
    pairs = [("pack", fact.pack), ("load", fact.load), ("set", fact.set), *within]
    return [(name, code) for name, code in pairs if code]


def fold(name: str, record: Record | None, fact: Fact) -> Record | None:
    """The record of kind `name` after `fact`; `record` unchanged when the fact says nothing of it."""
    step = FOLDS[name].get(fact.kind)
    if step is None:
        return record
    after: Record = step(record, fact)
    if isinstance(after, Pack):
        return changed(after, seq=fact.seq, seen_at=fact.at, seen_station=fact.station)
    if isinstance(after, Load) and fact.pack is None:
        return changed(after, seq=fact.seq, level_seq=fact.seq)
    return changed(after, seq=fact.seq)


def refold(name: str, facts: list[Fact]) -> Record | None:
    """The record that `facts`, all that name it in the order of writing, make: undone ones left out."""
    undone = {f.data["of"] for f in facts if f.kind == "amended" and f.data["undo"]}
    record: Record | None = None
    for fact in facts:
        if fact.id not in undone:
            record = fold(name, record, fact)
    return record
