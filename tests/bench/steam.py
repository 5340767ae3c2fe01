"""Cycles judged, beside a plain numpy pass over the same readings."""

import numpy as np

from service.steam.cycle import Cycle
from service.steam.judge import judge
from service.steam.programme import programme
from tests.bench.rows import row, seconds

READINGS, CYCLES = 3000, 400


def run():
    rng = np.random.default_rng(3)
    t = np.arange(READINGS, dtype=float)
    shape = np.interp(t, [0, 800, 1000, 1300, 1600, READINGS], [20, 100, 134.8, 134.8, 100, 60])
    made = [Cycle(t, shape + rng.normal(0, 0.05, READINGS)) for _ in range(CYCLES)]
    limits = programme("134/3")

    def plain():
        for one in made:
            np.sum(10 ** ((one.temperature_c - 121.1) / 10))
            (one.temperature_c >= 134).any()

    ours = CYCLES / seconds(lambda: [judge(one, limits) for one in made], 2)
    anchor = CYCLES / seconds(plain, 2)
    return [row("cycles of 3,000 readings judged", ours, anchor, "cycles/s", ">= 200/s", ours >= 200)]
