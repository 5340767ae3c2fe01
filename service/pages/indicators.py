"""Indicators: which wait to be read and until when, what the last ones said, and what each kind can say."""

from dataclasses import dataclass

from service.custody.records import Load
from service.pages.looks import Looks
from service.words.name import Name

KINDS = (
    ("Tape", "outside the pack", "It turned: the pack went through a cycle, no more. A process indicator (type 1)."),
    ("Strip", "inside each pack", "Steam reached it, seen when the pack is opened. Types 3 to 6: see its maker."),
    ("Air removal test", "alone in a warmed chamber, before the day's first goods", "Steam took the place of the air."),
    ("Leak test", "empty chamber", "The chamber is tight. For machines that pump."),
    ("Biological", "in the load, beside an unprocessed control of the same lot", "Nothing lived; void without growth."),
)
SOURCE = (
    "Types by ISO 11140-1 as restated by mediwish.com and tnlab.org. They are kinds, not ranks: a higher number says "
    "nothing of how good an indicator is."
)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A biological nobody has read: its load and machine, its lot and control, when it is due, and how late it is."""

    load: str
    name: str
    machine: str
    lots: str
    due: str
    late: str


@dataclass(frozen=True, slots=True)
class IndicatorsPage:
    template = "indicators.html"
    title: str
    waiting: tuple[Waiting, ...]
    read: tuple[tuple[str, str, str, str, bool], ...]
    kinds: tuple[tuple[str, str, str], ...]
    source: str


def indicators_page(looks: Looks) -> IndicatorsPage:
    loads = [one for one in looks.reader.loads(200) if one.steam]
    waiting = sorted(
        (one for one in loads if one.biological_lot and not one.biologicals), key=lambda one: one.biological_due or ""
    )
    return IndicatorsPage(
        "Indicators", tuple(_waiting(looks, one) for one in waiting),
        tuple(row for one in loads for row in _read(looks, one))[:60], KINDS, SOURCE,
    )  # fmt: skip


def _machine(looks: Looks, load: Load) -> Name:
    machine = looks.state.machine(load.machine)
    return Name(machine.name if machine else load.machine)


def _waiting(looks: Looks, load: Load) -> Waiting:
    lots = f"lot {load.biological_lot}, control {load.control_lot}"
    if not load.control_lot:
        lots = f"lot {load.biological_lot}, no control named"
    days = looks.days_past(load.biological_due)
    return Waiting(
        load.code, looks.load_name(load), _machine(looks, load), lots,
        looks.due(load).removeprefix(", ") or "no day named", f"{days} days overdue" if days > 0 else "",
    )  # fmt: skip


def _read(looks: Looks, load: Load) -> list[tuple[str, str, str, str, bool]]:
    """What each indicator of a load said, as (code, load, kind, result, whether it is bad news)."""
    rows = [("biological", result) for result in load.biologicals]
    if load.air_removal:
        rows.append(("air removal", load.air_removal))
    rows += [("strip", strip.split()[1]) for strip in load.strips if strip.endswith("pale")]
    name = looks.load_name(load)
    return [(load.code, name, kind, result, result in {"positive", "void", "fail", "pale"}) for kind, result in rows]
