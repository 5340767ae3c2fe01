"""Control charts of one measure of one machine: individuals and moving range, run rules by name, and drift in words."""

import math
from dataclasses import dataclass

import numpy as np

from service.steam.cycle import Series


class ChartError(ValueError):
    """Values that no limits can be drawn from: why, and what to do."""


@dataclass(frozen=True, slots=True)
class Constants:
    """What turns the mean of moving ranges of two into a standard deviation (`d2`), and into their own limit (`d4`)."""

    d2: float
    d4: float
    source: str


PRINTED = Constants(1.128, 3.267, "table A.22 as printed, n = 2: scribd.com/document/575462347")
EXACT = Constants(
    2 / math.sqrt(math.pi),
    1 + 3 * math.sqrt(math.pi / 2 - 1),
    "normal range distribution, n = 2: 2/√π, 1 + 3·√(π/2 − 1)",
)
BASELINE = 20
"""How many of the first values limits are drawn from unless somebody chooses. Common practice, no source."""
FEWEST = 5
"""From fewer values than these limits say nothing. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A pattern that chance seldom makes: `need` of `of` values in a row beyond so many `sigmas` on the same side."""

    name: str
    need: int
    of: int
    sigmas: float


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Rules used together.

    `every` is how many values of a steady machine pass, on average, from one false alarm to the next.
    """

    name: str
    rules: tuple[Rule, ...]
    every: float
    source: str


_BEYOND = Rule("one value beyond 3 sigma", 1, 1, 3)
THREE_SIGMA = RuleSet("3 σ", (_BEYOND,), 370.4, "computed from the normal distribution")
WESTERN_ELECTRIC = RuleSet(
    "Western Electric",
    (
        _BEYOND,
        Rule("two of three values beyond 2 sigma", 2, 3, 2),
        Rule("four of five values beyond 1 sigma", 4, 5, 1),
        Rule("eight values on one side of the mean", 8, 8, 0),
    ),
    91.75,
    "Rules: rdrr.io/github/luca-scr/qcc/man/rules.html; false alarms: wikisum.wiki/wiki/Western_Electric_rules",
)
RULE_SETS = {one.name: one for one in (THREE_SIGMA, WESTERN_ELECTRIC)}


@dataclass(frozen=True, slots=True)
class Limits:
    """What a baseline gives: its mean, its mean moving range, and the limits that follow, in the values' own unit."""

    mean: float
    mean_range: float
    constants: Constants = EXACT

    @property
    def sigma(self) -> float:
        return self.mean_range / self.constants.d2

    @property
    def lower(self) -> float:
        return self.mean - 3 * self.sigma

    @property
    def upper(self) -> float:
        return self.mean + 3 * self.sigma

    @property
    def range_upper(self) -> float:
        return self.constants.d4 * self.mean_range


@dataclass(frozen=True, slots=True)
class Signal:
    """A rule met at the value `at`, and whether `above` or `below` the mean."""

    at: int
    rule: str
    side: str


@dataclass(frozen=True, slots=True)
class Chart:
    """A series with its limits: `baseline` is the stretch they are drawn from; `ranges[i]` lies between i and i + 1."""

    values: Series
    ranges: Series
    baseline: slice
    limits: Limits
    rules: RuleSet
    signals: tuple[Signal, ...]
    wide: tuple[int, ...]
    """The values that lie further from the one before than the ranges' limit."""


def first_stretch(count: int) -> slice:
    """The baseline of so many values unless somebody chooses: the first of them, of a short history the first half."""
    return slice(min(BASELINE, max(FEWEST, count // 2)))


def moving_ranges(values: Series) -> Series:
    """How far each value lies from the one before it: one fewer than there are values."""
    return np.abs(np.diff(values))


def limits_of(baseline: Series, constants: Constants = EXACT) -> Limits:
    """The limits of an individuals and moving range chart. Raises ChartError for a baseline too short or quite still.

    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    if baseline.size < FEWEST:
        raise ChartError(f"{baseline.size} values are too few to draw limits from: {FEWEST} are needed")
    spread = float(moving_ranges(baseline).mean())
    if not spread:
        raise ChartError("the values of the baseline are all the same: no limits can be drawn from them")
    return Limits(float(baseline.mean()), spread, constants)


def signals(values: Series, limits: Limits, rules: RuleSet = THREE_SIGMA) -> tuple[Signal, ...]:
    """Where each rule is met, in the order of the values. The value a pattern ends with lies beyond its line too."""
    found = []
    away = (values - limits.mean) / limits.sigma
    for side, distance in (("above", away), ("below", -away)):
        for rule in rules.rules:
            beyond = distance > rule.sigmas
            count = np.convolve(beyond, np.ones(rule.of, dtype=int))[: values.size]
            found += [Signal(int(at), rule.name, side) for at in np.flatnonzero(beyond & (count >= rule.need))]
    order = {rule.name: place for place, rule in enumerate(rules.rules)}
    return tuple(sorted(found, key=lambda one: (one.at, order[one.rule])))


def chart(
    values: Series, baseline: slice = slice(BASELINE), rules: RuleSet = THREE_SIGMA, constants: Constants = EXACT
) -> Chart:
    """`values` against the limits of their `baseline`. Raises ChartError where that gives none."""
    limits = limits_of(values[baseline], constants)
    ranges = moving_ranges(values)
    wide = tuple(int(at) + 1 for at in np.flatnonzero(ranges > limits.range_upper))
    return Chart(values, ranges, baseline, limits, rules, signals(values, limits, rules), wide)


RECENT = 5
"""A drift stands while a rule was met within so many of the latest values. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Drift:
    """A rule met and not left since: by which rule, on which side, and the value it began with."""

    rule: str
    side: str
    since: int


def drift(found: Chart) -> Drift | None:
    """The drift that stands at the end of a chart, from the first of its signals with no quiet stretch after it."""
    ends = len(found.values)
    if not found.signals or found.signals[-1].at < ends - RECENT:
        return None
    latest = first = found.signals[-1]
    for signal in reversed(found.signals):
        if first.at - signal.at > RECENT:
            break
        if signal.side == latest.side:
            first = signal
    return Drift(first.rule, first.side, first.at)


@dataclass(frozen=True, slots=True)
class Measured:
    """Whose chart it is, by the names people use: machine, programme, measure."""

    machine: str
    programme: str
    measure: str


def drift_words(of: Measured, found: Drift, since: str) -> str:
    """A drift in one sentence: whose, of what, by which rule, since when."""
    return (
        f"{of.machine}, programme {of.programme}: {of.measure} is {found.side} what it was, by the rule "
        f"“{found.rule}”, since {since}."
    )
