"""Cycles judged, and a machine's history charted, each beside a plain numpy pass over the same readings."""

import numpy as np

from service.pages.trends import MEASURES
from service.steam import saturation
from service.steam.control import chart
from service.steam.control_chart import Shown, control_svg
from service.steam.cycle import Cycle
from service.steam.judge import judge
from service.steam.programme import programme
from tests.bench.rows import row, seconds

READINGS, CYCLES, HISTORY = 3000, 10_000, 1000


def run():
    rng = np.random.default_rng(3)
    t = np.arange(READINGS, dtype=float)
    shape = np.interp(t, [0, 800, 1000, 1300, 1600, READINGS], [20, 100, 134.8, 134.8, 100, 60])
    pulses = np.interp(t, [0, 100, 200, 300, 400, 500], [0, 75, 20, 75, 20, 0]) * (t < 500)
    celsius = [shape + pulses + rng.normal(0, 0.05, READINGS) for _ in range(HISTORY)]
    made = [Cycle(t, one, saturation.pressure_kpa(one)) for one in celsius]
    limits = programme("134/3")
    return [_judged(made, limits), _charted(made, limits)]


def _plain(made):
    for one in made:
        np.sum(10 ** ((one.temperature_c - 121.1) / 10))
        (one.temperature_c >= 134).any()


def _judged(made, limits):
    """Ten thousand cycles: the thousand in memory, ten times."""
    rounds = CYCLES // HISTORY
    ours = CYCLES / seconds(lambda: [judge(one, limits) for _ in range(rounds) for one in made], 1)
    anchor = CYCLES / seconds(lambda: [_plain(made) for _ in range(rounds)], 1)
    return row("cycles of 3,000 readings judged", ours, anchor, "cycles/s", ">= 200/s", ours >= 200)


def _charted(made, limits):
    """A thousand cycles judged, and the charts of what is kept of each drawn: from three million readings to the page."""

    def charts():
        found = [judge(one, limits) for one in made]
        kept = [one.measures() | {"hold_s": one.hold_s, "f0_hundredths": one.f0_hundredths} for one in found]
        for measure in MEASURES:
            values = np.array([one[measure.field] for one in kept], dtype=float) / measure.parts
            control_svg(chart(values), Shown(measure.title, measure.unit, measure.decimals, ["a day"] * HISTORY))

    ours, anchor = seconds(charts, 2), seconds(lambda: _plain(made), 2)
    return row("3 million readings of a machine charted", ours, anchor, "s", "<= 1 s", ours <= 1, 3)
