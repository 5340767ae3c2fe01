"""Cycle logs for the invented practice and for trials. Invented data is for the demo and for tests only."""

from datetime import date, datetime, timedelta

import numpy as np

from service.steam import saturation
from service.steam.programme import Programme

STEP_S = 5
SLOWER_AFTER = date(2026, 3, 9)
FAULTS = (
    "short hold", "aborted", "air", "superheat", "gap", "too hot", "wet", "no air removal", "dip",
)  # fmt: skip
"""What can be wrong with a made cycle, each in one criterion alone as far as a cycle can be."""


def _ramp(start: float, end: float, seconds: int) -> list[float]:
    steps = max(1, seconds // STEP_S)
    return [start + (end - start) * (1 - np.exp(-3 * (i + 1) / steps)) / (1 - np.exp(-3)) for i in range(steps)]


def heating_s(day: date, rng: np.random.Generator) -> int:
    """How long Steriliser 1 takes for the last rise: steady at first, then a little longer each day."""
    late = max((day - SLOWER_AFTER).days, 0)
    return 240 + 7 * late + STEP_S * int(rng.integers(-2, 3))


def made_cycle(programme: Programme, rng: np.random.Generator, fault: str | None = None, heating_s: int = 240) -> bytes:
    """A log as CSV bytes: air removal pulses, heating, a plateau with ripple, exhaust, drying; a reading each 5 s.

    `fault` is one of FAULTS; `heating_s` how long the last rise takes.
    """
    plateau_c = programme.set_c + (programme.band_k + 1.5 if fault == "too hot" else 1.2)
    temperature = [22.0 + 0.05 * i for i in range(12)]
    for low, high in () if fault == "no air removal" else ((60.0, 101.0), (78.0, 104.0), (84.0, 108.0)):
        temperature += _ramp(temperature[-1], high, 90) + _ramp(high, low, 60)
    temperature += _ramp(temperature[-1], plateau_c, heating_s)
    held = len(temperature)
    hold_s = programme.hold_s + (-60 if fault == "short hold" else 35)
    steady = [plateau_c + 0.15 * np.sin(i / 3) for i in range(hold_s // STEP_S)]
    if fault == "dip":
        steady[len(steady) // 2] = programme.set_c - 1.0
    temperature += steady[: len(steady) // 3] if fault == "aborted" else steady
    ended = len(temperature)
    temperature += _ramp(temperature[-1], 100.0, 120)
    if fault != "aborted":
        dry_s = 60 if fault == "wet" else (programme.dry_s or 600) + 60
        temperature += [100.0 - 0.03 * i + 1.5 * np.sin(i / 8) for i in range(dry_s // STEP_S)]
    noisy = np.array(temperature) + rng.normal(0, 0.05, len(temperature))
    pressure = saturation.pressure_kpa(noisy)
    if fault in {"air", "superheat"}:
        pressure[held:ended] = saturation.pressure_kpa(noisy[held:ended] + (3.0 if fault == "air" else -3.0))
    rows = [(i * STEP_S, t, p) for i, (t, p) in enumerate(zip(noisy, pressure, strict=True))]
    if fault == "gap":
        del rows[held + 6 : held + 6 + 75 // STEP_S]
    return ("seconds,temperature_c,pressure_kpa\n" + "".join(f"{s},{t:.2f},{p:.1f}\n" for s, t, p in rows)).encode()


def dated(log: bytes, began: str) -> bytes:
    """The log as a logger with a clock writes it: the time of each reading instead of the seconds since `began`."""
    head, *rows = log.decode().splitlines()
    at = datetime.fromisoformat(began)
    lines = [head.replace("seconds", "time", 1)]
    for row in rows:
        seconds, rest = row.split(",", 1)
        lines.append(f"{at + timedelta(seconds=int(seconds)):%Y-%m-%dT%H:%M:%SZ},{rest}")
    return ("\n".join(lines) + "\n").encode()
