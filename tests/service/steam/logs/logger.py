"""A logger that writes the demo's cycle in whatever shape a test asks for."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from service.demo.cycles import made_cycle
from service.steam.logs.log import read_csv
from service.steam.programme import programme

PLAIN = made_cycle(programme("134/3"), np.random.default_rng(20260304))
CYCLE = read_csv(PLAIN)
LONDON = ZoneInfo("Europe/London")
MORNING = datetime(2026, 3, 4, 9, 10, tzinfo=LONDON)


def readings():
    return zip(CYCLE.seconds, CYCLE.temperature_c, CYCLE.pressure_kpa, strict=True)


def stamps(start, form):
    """Local times of the readings, as a clock at the practice shows them."""
    return [
        (start.astimezone(ZoneInfo("UTC")) + timedelta(seconds=s)).astimezone(LONDON).strftime(form)
        for s in CYCLE.seconds
    ]


def written(line, head=""):
    """The cycle with `line(seconds, celsius, kpa)` a reading."""
    return (head + "".join(line(*one) + "\n" for one in readings())).encode()


def clocked(start, form, head="time;temperature (°C);pressure (kPa abs)\n"):
    times = stamps(start, form)
    rows = (f"{t};{c:.2f};{p:.1f}\n" for t, (_, c, p) in zip(times, readings(), strict=True))
    return (head + "".join(rows)).encode()
