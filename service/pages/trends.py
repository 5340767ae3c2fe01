"""How a machine does over time: the series of each measure and programme, their charts, and what drifts."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from service.custody.records import Load, Machine
from service.pages.looks import Looks
from service.pages.views import Need
from service.steam.control import (
    THREE_SIGMA,
    Chart,
    ChartError,
    Measured,
    RuleSet,
    chart,
    drift,
    drift_words,
    first_stretch,
)
from service.steam.control_chart import Shown, control_svg
from service.words.name import Name

LOOKED_AT = 300
"""How many of a machine's latest loads its charts go back."""


@dataclass(frozen=True, slots=True)
class Measure:
    """Something a chart follows: its title, its name in a sentence, unit, field of a load, parts of a unit there."""

    title: str
    name: str
    unit: str
    field: str
    parts: int = 1

    @property
    def decimals(self) -> int:
        return len(str(self.parts)) - 1

    def of(self, load: Load) -> float | None:
        value: int | None = getattr(load, self.field)
        return None if value is None else value / self.parts


MEASURES = (
    Measure("Plateau temperature", "the plateau temperature", "°C", "plateau_c_hundredths", 100),
    Measure("Hold time", "the hold time", "s", "hold_s"),
    Measure("F0", "the F0", "min", "f0_hundredths", 100),
    Measure("Heating time", "the heating time", "s", "heating_s"),
    Measure("Drying time", "the drying time", "s", "drying_s"),
)


@dataclass(frozen=True, slots=True)
class Trend:
    """A measure of one programme of a machine: the loads that have it, in their order, and their values."""

    machine: Machine
    programme: str
    measure: Measure
    loads: tuple[Load, ...]

    def chart(self, baseline: slice | None = None, rules: RuleSet = THREE_SIGMA) -> Chart:
        """Raises ChartError where the baseline gives no limits."""
        values = np.array([self.measure.of(load) for load in self.loads], dtype=np.float64)
        return chart(values, baseline or first_stretch(len(values)), rules)

    def drawn(self, looks: Looks, baseline: slice | None, rules: RuleSet) -> str:
        """The chart as SVG. Raises ChartError as `chart` does."""
        measure = self.measure
        days = [f"{looks.day(load.began_at):%-d %B}" for load in self.loads]
        shown = Shown(measure.title, measure.unit, measure.decimals, days)
        return control_svg(self.chart(baseline, rules), shown)

    def drifts(self, looks: Looks, baseline: slice | None = None, rules: RuleSet = THREE_SIGMA) -> str:
        """What is said of the drift that stands; nothing where none does."""
        try:
            found = drift(self.chart(baseline, rules))
        except ChartError:
            return ""
        if found is None:
            return ""
        of = Measured(Name(self.machine.name), self.programme, self.measure.name)
        return drift_words(of, found, looks.said(self.loads[found.since].began_at))


def judged(looks: Looks, machine: Machine) -> list[Load]:
    """The latest loads of goods whose cycles were judged, in the order they were started."""
    loads = looks.reader.latest(machine.code, LOOKED_AT)
    return [load for load in loads if load.verdict and load.programme and load.load_kind == "goods"]


def programmes(loads: list[Load]) -> list[str]:
    """The programmes these loads ran, the one that ran last first."""
    return list(dict.fromkeys(load.programme or "" for load in reversed(loads)))


def trends(machine: Machine, loads: list[Load], programme: str) -> Iterator[Trend]:
    """The measures that any of these loads has, of those that ran this programme."""
    for measure in MEASURES:
        having = tuple(load for load in loads if load.programme == programme and measure.of(load) is not None)
        if having:
            yield Trend(machine, programme, measure, having)


def drifting(looks: Looks, machine: Machine) -> list[Need]:
    """What drifts of this machine, in words that link to its charts."""
    loads = judged(looks, machine)
    found = []
    for programme in programmes(loads):
        for trend in trends(machine, loads, programme):
            if words := trend.drifts(looks):
                link = f"/machines/{machine.code}?programme={programme}"
                found.append(Need("ask", f"{machine.name} drifts.", words, link))
    return found
