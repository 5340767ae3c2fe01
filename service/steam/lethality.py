"""Lethality: how much a temperature history kills, as minutes at the reference temperature."""

import numpy as np

from service.steam.cycle import Cycle, Series

REFERENCE_C = 121.1
"""°C. Sources disagree (121.0, 121.1, 121.11); 121.1 is used by dairyscience.info's lethal rate help, among others."""
Z_K = 10.0
"""K: the temperature change that changes lethality tenfold (same source)."""

_LEVEL_K = 1e-6
PROBE_K = 0.5
"""K: how far a probe may be wrong unnoticed; it multiplies F0 by 1.122 or 0.891. Common practice, no source."""


def rate(temperature_c: Series | float) -> Series:
    """The lethal rate L = 10^((T − 121.1)/10), dimensionless: minutes at 121.1 °C for one minute at T."""
    return np.asarray(10.0 ** ((np.asarray(temperature_c, dtype=np.float64) - REFERENCE_C) / Z_K), dtype=np.float64)


def running_f0(cycle: Cycle) -> Series:
    """F0 in minutes up to each reading, by the trapezium rule on the lethal rate; one value a reading."""
    return _running(np.diff(cycle.seconds), rate(cycle.temperature_c))


def _running(steps: Series, rates: Series) -> Series:
    return np.concatenate(([0.0], np.cumsum(steps * (rates[1:] + rates[:-1]) / 2 / 60)))


def f0(cycle: Cycle) -> float:
    """F0 of the whole log, in minutes. A calculated F0 is not a validation."""
    return float(running_f0(cycle)[-1])


def f0_and_error(cycle: Cycle) -> tuple[float, float]:
    """F0, and how far the trapezium rule can be from what happened between the readings, in minutes.

    The error is two parts, added: how far the rule is from temperatures that run straight from reading to reading,
    whose integral is exact; and how far a curve may leave them: h³/12 times the second derivative in an interval of h
    seconds, as the readings on either side show it, the larger of the two, without regard to its sign.
    """
    rates, steps = rate(cycle.temperature_c), np.diff(cycle.seconds)
    rises = np.diff(cycle.temperature_c)
    level = np.abs(rises) < _LEVEL_K
    straight = np.diff(rates) * Z_K / (np.where(level, 1.0, rises) * np.log(10))
    means = (rates[1:] + rates[:-1]) / 2
    error = float((steps * np.where(level, 0.0, np.abs(means - straight))).sum()) / 60
    if steps.size > 1:
        bends = np.abs(2 * np.diff(np.diff(rates) / steps) / (steps[1:] + steps[:-1]))
        larger = np.maximum(np.concatenate((bends[:1], bends)), np.concatenate((bends, bends[-1:])))
        error += float((steps**3 * larger).sum() / 12 / 60)
    return float(_running(steps, rates)[-1]), error
