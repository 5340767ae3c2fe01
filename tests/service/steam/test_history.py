"""A machine's history in one pass is what judging each cycle by itself finds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.steam.cycle import Cycle
from service.steam.history import history
from service.steam.judge import judge
from service.steam.programme import programme

READINGS = st.lists(st.tuples(st.integers(1, 30), st.sampled_from([20.0, 133.9, 134.0, 135.5, 138.5])), min_size=2)
CYCLES = st.lists(READINGS, min_size=1, max_size=6)


@given(CYCLES)
@settings(deadline=None)
def test_each_cycle_has_the_hold_and_the_f0_that_judging_it_alone_finds(made):
    cycles = [Cycle(np.cumsum([s for s, _ in one], dtype=float), np.array([c for _, c in one])) for one in made]
    found, limits = history(cycles, programme("134/3")), programme("134/3")
    alone = [judge(one, limits) for one in cycles]
    assert found.hold_s.tolist() == [one.hold_s for one in alone]
    assert found.f0_min == pytest.approx([one.f0_min for one in alone], rel=1e-9, abs=1e-12)
    means = [np.nan if one.mean_c is None else one.mean_c for one in alone]
    assert found.plateau_c == pytest.approx(means, rel=1e-9, nan_ok=True)


def test_the_mean_of_a_plateau_is_that_of_its_readings_and_no_others():
    rows = Cycle(np.arange(6.0), np.array([20, 134.5, 135.5, 135, 100, 134.5]))
    assert history([rows, rows], programme("134/3")).plateau_c == pytest.approx([135.125, 135.125])
