"""Cycle logs for the invented practice. Invented data is for the demo only."""

import numpy as np

from service.steam.programme import Programme

STEP_S = 5


def _ramp(start: float, end: float, seconds: int) -> list[float]:
    steps = max(1, seconds // STEP_S)
    return [start + (end - start) * (1 - np.exp(-3 * (i + 1) / steps)) / (1 - np.exp(-3)) for i in range(steps)]


def made_cycle(programme: Programme, rng: np.random.Generator, fault: str | None = None) -> bytes:
    """A log as CSV bytes: air removal pulses, heating, a plateau with ripple, exhaust, drying; a reading each 5 s.

    `fault` may be `short hold` or `aborted`.
    """
    plateau_c = programme.set_c + 1.2
    temperature = [22.0 + 0.05 * i for i in range(12)]
    for low, high in ((60.0, 101.0), (78.0, 104.0), (84.0, 108.0)):
        temperature += _ramp(temperature[-1], high, 90) + _ramp(high, low, 60)
    temperature += _ramp(temperature[-1], plateau_c, 240)
    hold_s = programme.hold_s + 35
    if fault == "short hold":
        hold_s = programme.hold_s - 60
    steady = [plateau_c + 0.15 * np.sin(i / 3) for i in range(hold_s // STEP_S)]
    temperature += steady[: len(steady) // 3] if fault == "aborted" else steady
    temperature += _ramp(temperature[-1], 100.0, 120)
    if fault != "aborted":
        temperature += [100.0 - 0.03 * i + 1.5 * np.sin(i / 8) for i in range(600 // STEP_S)]
    noisy = np.array(temperature) + rng.normal(0, 0.05, len(temperature))
    # Tsat inverted from 42.6776 − 3892.70/(ln P[MPa] − 9.48654): good to 0.14 K, enough for a made log.
    pressure = np.exp(9.48654 - 3892.70 / (noisy + 273.15 - 42.6776)) * 1000
    lines = ["seconds,temperature_c,pressure_kpa"]
    lines += [f"{i * STEP_S},{t:.2f},{p:.1f}" for i, (t, p) in enumerate(zip(noisy, pressure, strict=True))]
    return ("\n".join(lines) + "\n").encode()
