"""Saturated steam: what temperature a pressure means, and back (IAPWS-IF97, region 4)."""

import numpy as np

from service.steam.cycle import Series

_N = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip
"""The coefficients n1 to n10 of table 34 of IAPWS R7-97(2012)."""
KELVIN = 273.15
LOWEST_KPA = 0.611213
"""The equation holds from 273.15 K to the critical point (IAPWS R7-97, equation 29); below, there is ice."""


def temperature_c(pressure_kpa: Series | float) -> Series:
    """The temperature of saturated steam in °C at a pressure in kPa absolute; NaN below 0.611 kPa (equation 31)."""
    kpa = np.asarray(pressure_kpa, dtype=np.float64)
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    beta = np.where(kpa >= LOWEST_KPA, kpa / 1000, np.nan) ** 0.25
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2 * g / (-f - np.sqrt(f**2 - 4 * e * g))
    return np.asarray((n10 + d - np.sqrt((n10 + d) ** 2 - 4 * (n9 + n10 * d))) / 2 - KELVIN)


def pressure_kpa(celsius: Series | float) -> Series:
    """The pressure of saturated steam in kPa absolute at a temperature in °C (equation 30)."""
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    kelvin = np.asarray(celsius, dtype=np.float64) + KELVIN
    theta = kelvin + n9 / (kelvin - n10)
    a = theta**2 + n1 * theta + n2
    b = n3 * theta**2 + n4 * theta + n5
    c = n6 * theta**2 + n7 * theta + n8
    return np.asarray((2 * c / (-b + np.sqrt(b**2 - 4 * a * c))) ** 4 * 1000)
