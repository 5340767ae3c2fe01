"""The air at a height: US Standard Atmosphere 1976, equations and an independent package's table."""

import pytest

from service.steam import saturation
from service.steam.atmosphere import ambient_kpa, at_geopotential_kpa

GEOMETRIC = [(0, 101325.0), (500, 95461.3), (1000, 89876.3), (1500, 84559.7), (2000, 79501.4)]
"""Metres, Pa. ambiance 1.3.1; US Standard Atmosphere 1976 equations. COMPUTED, within 0.1 Pa."""
GEOPOTENTIAL = [(500, 95460.8), (1000, 89874.6), (1500, 84556.0), (2000, 79495.2)]
"""The same equations, 288.15 K, -6.5 K/km. COMPUTED, within 0.1 Pa."""


@pytest.mark.parametrize(("metres", "pascal"), GEOMETRIC)
def test_the_air_at_a_height_is_the_standard_atmospheres(metres, pascal):
    assert ambient_kpa(metres) * 1000 == pytest.approx(pascal, abs=0.1)


@pytest.mark.parametrize(("metres", "pascal"), GEOPOTENTIAL)
def test_the_air_at_a_geopotential_height_is_the_equations(metres, pascal):
    assert at_geopotential_kpa(metres) * 1000 == pytest.approx(pascal, abs=0.1)


@pytest.mark.parametrize(("metres", "pascal"), [(500, 95461), (1000, 89874), (1500, 84555), (2000, 79494)])
def test_the_short_formula_agrees_within_two_pascal(metres, pascal):
    """scipp.ucsc.edu, 1976 Standard Atmosphere: 101325 (1 - h/44329)^5.255876. READ, COMPUTED."""
    assert at_geopotential_kpa(metres) * 1000 == pytest.approx(pascal, abs=2)


@pytest.mark.parametrize(("feet", "psi"), [(5000, 12.230), (10000, 10.108)])
def test_the_imperial_table_agrees(feet, psi):
    """engineersedge.com, standard atmospheric data 15729, psia. READ, within .002."""
    assert ambient_kpa(feet * 0.3048) / 6.894757 == pytest.approx(psi, abs=0.002)


@pytest.mark.parametrize(
    ("air_kpa", "psi", "celsius"),
    [(84.6, 15, 118.27), (84.6, 16, 119.40), (84.6, 17.5, 121.03), (101.325, 15, 120.96), (101.325, 27, 132.08), (101.325, 30, 134.44)],
)  # fmt: skip
def test_a_gauge_means_less_steam_the_higher_the_practice_lies(air_kpa, psi, celsius):
    """iapws 1.5.5, COMPUTED, within .02."""
    assert float(saturation.temperature_c(psi * 6.894757 + air_kpa)) == pytest.approx(celsius, abs=0.02)


@pytest.mark.parametrize(("metres", "celsius"), [(0, 99.97), (1000, 96.65), (1500, 94.98), (2000, 93.32)])
def test_water_boils_colder_the_higher_the_practice_lies(metres, celsius):
    """ambiance and iapws, COMPUTED, within .02."""
    assert float(saturation.temperature_c(ambient_kpa(metres))) == pytest.approx(celsius, abs=0.02)


@pytest.mark.parametrize("metres", [-501, 6001, float("nan"), float("inf")])
def test_a_height_where_no_practice_is_is_refused(metres):
    with pytest.raises(ValueError, match="no altitude of a practice"):
        ambient_kpa(metres)
