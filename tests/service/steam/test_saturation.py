"""Saturated steam beside the release's own tables, another library, and an older closed formula."""

import csv

import iapws
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.steam.saturation import KELVIN, pressure_kpa, temperature_c
from tests.service.steam.test_steam import data_file


# IAPWS R7-97 table 36, as quoted in public test suites (CHECKS 4d).
@pytest.mark.parametrize(("mpa", "kelvin"), [(0.1, 372.755919), (1, 453.035632), (10, 584.149488)])
def test_the_temperature_equals_table_36(mpa, kelvin):
    assert float(temperature_c(mpa * 1000)) + KELVIN == pytest.approx(kelvin, abs=1e-6)


# IAPWS R7-97 table 35, as quoted in public test suites (CHECKS 4d).
@pytest.mark.parametrize(("kelvin", "mpa"), [(300, 0.00353658941), (500, 2.63889776), (600, 12.3443146)])
def test_the_pressure_equals_table_35(kelvin, mpa):
    assert float(pressure_kpa(kelvin - KELVIN)) / 1000 == pytest.approx(mpa, rel=1e-8)


# Computed with iapws 1.5.5, _PSat_T (CHECKS 4d).
@pytest.mark.parametrize(
    ("celsius", "kpa"),
    [(100, 101.418), (121, 205.0389), (121.1, 205.6853), (132, 286.8226), (134, 304.1989), (137, 331.8519)],
)
def test_the_pressures_of_programmes_agree_with_the_library(celsius, kpa):
    assert float(pressure_kpa(celsius)) == pytest.approx(kpa, abs=1e-3)
    assert float(pressure_kpa(celsius)) == pytest.approx(iapws.iapws97._PSat_T(celsius + KELVIN) * 1000, rel=1e-9)


def test_the_published_table_agrees():
    with data_file("saturation.csv").open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    assert len(rows) > 5
    for row in rows:
        assert float(pressure_kpa(float(row["temperature_c"]))) == pytest.approx(float(row["psat_kpa_if97"]), rel=1e-5)


@given(st.floats(90, 150))
def test_there_and_back_is_the_same(celsius):
    assert float(temperature_c(pressure_kpa(celsius))) == pytest.approx(celsius, abs=1e-4)


def test_an_older_closed_formula_lies_within_its_known_error():
    """T[K] = 42.6776 − 3892.70/(ln P[MPa] − 9.48654), 0.12 to 0.14 K too warm (CHECKS 4d)."""
    kpa = np.linspace(100, 340, 50)
    closed = 42.6776 - 3892.70 / (np.log(kpa / 1000) - 9.48654) - KELVIN
    assert np.abs(closed - temperature_c(kpa)).max() < 0.15


def test_the_slope_near_134_is_a_ninth_of_a_kelvin_a_kilopascal():
    assert float(temperature_c(305) - temperature_c(304)) == pytest.approx(0.1124, abs=1e-3)  # CHECKS 4d


def test_a_pressure_below_the_triple_points_is_no_steam():
    assert np.isnan(temperature_c(0.3))
