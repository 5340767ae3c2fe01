"""Control charts held against published examples: limits, ranges, run rules, and drift said before it is a failure."""

import csv
import math

import numpy as np
import pytest

from service.steam.control import (
    EXACT,
    PRINTED,
    THREE_SIGMA,
    WESTERN_ELECTRIC,
    ChartError,
    Constants,
    Drift,
    Limits,
    Measured,
    chart,
    drift,
    drift_words,
    first_stretch,
    limits_of,
    moving_ranges,
    signals,
)
from tests.service.steam.test_steam import data_file

# NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of ten batches: data and results as quoted in public test suites (CHECKS 9).
FLOW = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
UNIT = Limits(0.0, EXACT.d2)
"""Mean 0, sigma 1."""


def test_the_flow_rate_example_of_the_nist_handbook_has_its_limits():
    found = chart(FLOW, constants=PRINTED)
    assert found.limits.mean == pytest.approx(50.81, abs=5e-5)
    assert found.limits.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert (found.limits.upper, found.limits.lower) == pytest.approx((55.8041, 45.8159), abs=5e-5)
    assert found.limits.range_upper == pytest.approx(6.1347, abs=5e-4)
    assert (found.signals, found.wide) == ((), ())


@pytest.mark.parametrize(
    ("d2", "upper", "lower"),
    [(3 / 2.66, 55.8049, 45.8151), (EXACT.d2, 55.8024, 45.8176)],  # computed from the same data (CHECKS 9), 5e-5
)
def test_other_roundings_of_the_same_constant_give_the_limits_computed_from_them(d2, upper, lower):
    found = limits_of(FLOW, Constants(d2, EXACT.d4, ""))
    assert (found.upper, found.lower) == pytest.approx((upper, lower), abs=5e-5)


def test_the_jet_engine_summary_follows_from_its_mean_and_mean_range():
    """Twenty diameters: data at support.sas.com qcug_shewhart_sect100, limits computed with exact constants; 5e-4."""
    found = Limits(80.39, 5.3263, EXACT)
    assert (found.lower, found.upper) == pytest.approx((66.2290, 94.5510), abs=5e-4)
    assert found.range_upper == pytest.approx(17.3986, abs=5e-4)


def test_the_printed_constants_are_the_exact_ones_rounded():
    """d2 1.128, D4 3.267 for n = 2: table A.22, scribd.com/document/575462347; 3/d2 2.66, exact 2.65868 (CHECKS 9)."""
    assert (round(EXACT.d2, 3), round(EXACT.d4, 3)) == (PRINTED.d2, PRINTED.d4) == (1.128, 3.267)
    assert 3 / EXACT.d2 == pytest.approx(2.65868, abs=5e-6)
    assert 3 / PRINTED.d2 == pytest.approx(2.6596, abs=5e-5)


def test_the_constants_equal_the_table_computed_with_scipy():
    with data_file("control_chart_constants.csv").open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    two = next(row for row in rows if row["n"] == "2")
    assert (EXACT.d2, EXACT.d4) == pytest.approx((float(two["d2"]), float(two["D4"])), abs=5e-5)


def rules_met(values, rules=WESTERN_ELECTRIC):
    return [(one.at, one.rule, one.side) for one in signals(np.array(values, float), UNIT, rules)]


# The four rules: rdrr.io/github/luca-scr/qcc/man/rules.html; numerics.net Western Electric (CHECKS 9); exact.
@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ([0, 0, 3.1], "one value beyond 3 sigma"),
        ([0, 2.1, 0, 2.1], "two of three values beyond 2 sigma"),
        ([0, 1.1, 1.1, 0, 1.1, 1.1], "four of five values beyond 1 sigma"),
        ([-0.1] + [0.1] * 8, "eight values on one side of the mean"),
    ],
)
def test_each_western_electric_rule_is_met_by_its_own_pattern_on_either_side(values, rule):
    last = len(values) - 1
    assert rules_met(values) == [(last, rule, "above")]
    assert rules_met([-value for value in values]) == [(last, rule, "below")]


@pytest.mark.parametrize(
    "values",
    [
        [0, 3.0, 0], [2.1, -2.1, 0], [2.1, 0, 0, 2.1], [1.1, 1.1, 0, 0, 1.1, 1.1], [1.1, 1.1, 1.1, -1.1],
        [0.1] * 7, [0.1] * 7 + [-0.1] + [0.1] * 7, [1.1, 1.1, 1.1, 1.1][:3],
    ],
)  # fmt: skip
def test_a_pattern_one_value_short_meets_no_rule(values):
    assert rules_met(values) == []


def test_three_sigma_alone_is_the_default_and_sees_no_run():
    assert rules_met([0.1] * 20, THREE_SIGMA) == []
    assert chart(FLOW).rules is THREE_SIGMA


def test_the_false_alarms_of_a_steady_machine_are_as_many_as_said():
    """3 sigma: 1 in 370.4, computed. All four: 1 in 91.75 (wikisum.wiki/wiki/Western_Electric_rules), the average run to
    the first alarm; a million values drawn here, within 5 %."""
    assert 1 / math.erfc(3 / math.sqrt(2)) == pytest.approx(THREE_SIGMA.every, abs=0.05)
    rng, runs, at = np.random.default_rng(9), [], 0
    values = rng.normal(size=1_000_000)
    while at + 2000 < values.size and len(runs) < 6000:
        window = values[at : at + 2000]
        met = signals(window[:400], UNIT, WESTERN_ELECTRIC) or signals(window, UNIT, WESTERN_ELECTRIC)
        runs.append(met[0].at + 1)
        at += runs[-1]
    assert np.mean(runs) == pytest.approx(WESTERN_ELECTRIC.every, rel=0.05)


@pytest.mark.parametrize(("values", "words"), [([1, 2, 3, 4], "4 values are too few"), ([7] * 9, "all the same")])
def test_a_baseline_that_gives_no_limits_says_why(values, words):
    with pytest.raises(ChartError, match=words):
        limits_of(np.array(values, float))


def test_the_baseline_is_the_stretch_that_was_chosen_and_later_values_do_not_move_the_limits():
    later = np.concatenate((FLOW, FLOW + 30))
    assert chart(later, slice(10)).limits == chart(FLOW).limits
    assert chart(later, slice(10, 20)).limits.mean == pytest.approx(80.81)


@pytest.mark.parametrize(("count", "stretch"), [(3, 5), (12, 6), (40, 20), (500, 20)])
def test_unless_somebody_chooses_the_baseline_is_the_first_twenty_or_of_few_the_first_half(count, stretch):
    assert first_stretch(count) == slice(stretch)


def test_a_jump_is_seen_on_the_range_chart_at_the_value_it_leads_to():
    found = chart(np.concatenate((FLOW, FLOW + 12)), slice(10))
    assert found.ranges.tolist() == moving_ranges(found.values).tolist()
    assert found.wide == (10,)


def test_a_measure_that_creeps_up_is_a_drift_from_the_first_value_the_rule_spoke_of():
    steady = np.tile([600.0, 604.0, 598.0, 602.0], 5)
    creeping = np.concatenate((steady, 604 + 2.0 * np.arange(8)))
    found = chart(creeping, slice(20))
    first = int(np.argmax(creeping > found.limits.upper))
    assert drift(found) == Drift("one value beyond 3 sigma", "above", first)
    assert drift(chart(steady, slice(20))) is None


def test_a_drift_that_was_mended_no_longer_stands():
    steady = np.tile([600.0, 604.0, 598.0, 602.0], 5)
    assert drift(chart(np.concatenate((steady, [640, 640], steady)), slice(20))) is None


def test_a_drift_is_said_with_machine_measure_rule_and_day():
    of = Measured("Steriliser 1", "134/3", "heating time")
    assert drift_words(of, Drift("one value beyond 3 sigma", "above", 12), "12 March") == (
        "Steriliser 1, programme 134/3: heating time is above what it was, by the rule “one value beyond 3 sigma”, since "
        "12 March."
    )
