"""Lethality: how much a temperature history kills, as minutes at the reference temperature."""

import numpy as np

from service.steam.cycle import Cycle, Series

REFERENCE_C = 121.1
"""°C. Sources disagree (121.0, 121.1, 121.11); 121.1 is used by dairyscience.info's lethal rate help, among others."""
Z_K = 10.0
"""K: the temperature change that changes lethality tenfold (same source)."""


def rate(temperature_c: Series | float) -> Series:
    """The lethal rate L = 10^((T − 121.1)/10), dimensionless: minutes at 121.1 °C for one minute at T."""
    return np.asarray(10.0 ** ((np.asarray(temperature_c, dtype=np.float64) - REFERENCE_C) / Z_K), dtype=np.float64)


def running_f0(cycle: Cycle) -> Series:
    """F0 in minutes up to each reading, by the trapezium rule on the lethal rate; one value a reading."""
    rates = rate(cycle.temperature_c)
    steps = np.diff(cycle.seconds) * (rates[1:] + rates[:-1]) / 2 / 60
    return np.concatenate(([0.0], np.cumsum(steps)))


def f0(cycle: Cycle) -> float:
    """F0 of the whole log, in minutes. A calculated F0 is not a validation."""
    return float(running_f0(cycle)[-1])
