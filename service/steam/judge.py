"""Judging a cycle against its programme: each criterion with its value, its limit and its source."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from service.steam import saturation
from service.steam.cycle import Cycle
from service.steam.lethality import REFERENCE_C, f0
from service.steam.programme import Programme

LONGEST_GAP_S = 60.0
"""Seconds without a reading inside the plateau that can be believed; beyond it nobody saw what the machine did. Common
practice, no source."""
SATURATED_K = 2.0
"""K: how far a reading and saturated steam at its pressure may lie apart on the plateau. EN 285, from memory."""
NOT_SATURATED = "No pressure was logged: whether the chamber held steam alone, air or superheat, cannot be told."
NOTES = (f"F0 is calculated by the trapezium rule at {REFERENCE_C} °C; a calculated F0 is not a validation.",)


@dataclass(frozen=True, slots=True)
class Criterion:
    """One condition: its value and limit as text with units, whether it holds (None: cannot be told), its source."""

    name: str
    value: str
    limit: str
    ok: bool | None
    source: str


@dataclass(frozen=True, slots=True)
class Plateau:
    """The longest stretch within the programme's band: seconds of the log, °C."""

    start_s: float
    end_s: float
    lowest_c: float
    highest_c: float


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a log says of a cycle. `verdict` is pass, fail or cannot judge; `hold_s` whole seconds; `f0_min` minutes."""

    verdict: str
    programme: str
    hold_s: int
    f0_min: float
    plateau: Plateau | None
    criteria: tuple[Criterion, ...]
    notes: tuple[str, ...]
    plateau_mean_c: float | None = None

    @property
    def f0_hundredths(self) -> int:
        return round(self.f0_min * 100)

    def measures(self) -> dict[str, int | None]:
        """What charts follow besides hold and F0: mean of the plateau in hundredths of °C, heating, drying in s."""
        mean = self.plateau_mean_c
        return {
            "plateau_c_hundredths": None if mean is None else round(mean * 100),
            "heating_s": None,
            "drying_s": None,
        }

    def to_json(self) -> dict[str, Any]:
        """`foldmark cycle --json`: plain values, F0 to four decimals."""
        return {
            "verdict": self.verdict,
            "programme": self.programme,
            "hold_s": self.hold_s,
            "f0_min": round(self.f0_min, 4),
            "plateau": asdict(self.plateau) if self.plateau else None,
            "criteria": [asdict(criterion) for criterion in self.criteria],
        }


def _longest_run(cycle: Cycle, lowest_c: float, highest_c: float) -> slice | None:
    """The rows of the longest stretch of readings none of which leaves these limits."""
    within = (cycle.temperature_c >= lowest_c) & (cycle.temperature_c <= highest_c)
    hot = np.concatenate(([False], within, [False]))
    edges = np.flatnonzero(np.diff(hot.astype(np.int8)))
    starts, ends = edges[::2], edges[1::2] - 1
    if not starts.size:
        return None
    best = int(np.argmax(cycle.seconds[ends] - cycle.seconds[starts]))
    return slice(int(starts[best]), int(ends[best]) + 1)


def judge(cycle: Cycle, programme: Programme) -> Judgement:
    """Whether `cycle` meets `programme`: each criterion that fails makes it fail.

    A gap in the readings of the plateau is `cannot judge`, never `pass`. What was not logged is said and not judged.
    """
    run = _longest_run(cycle, programme.set_c, programme.set_c + programme.band_k)
    plateau, mean_c, hold_s, gap_s = None, None, 0, 0.0
    if run is not None:
        seconds, temperature = cycle.seconds[run], cycle.temperature_c[run]
        plateau = Plateau(float(seconds[0]), float(seconds[-1]), float(temperature.min()), float(temperature.max()))
        mean_c = float(temperature.mean())
        hold_s = int(seconds[-1] - seconds[0])
        gap_s = float(np.diff(seconds).max()) if seconds.size > 1 else 0.0
    seen = Criterion("readings in the plateau", f"longest gap {gap_s:g} s", f"at most {LONGEST_GAP_S:g} s",
                     gap_s <= LONGEST_GAP_S if run is not None else None, "common practice, no source")  # fmt: skip
    hold = Criterion("hold", f"{hold_s} s at {programme.set_c:g} °C or more", f"at least {programme.hold_s} s",
                     hold_s >= programme.hold_s, programme.source)  # fmt: skip
    criteria = (hold, seen, _band(cycle, programme), _saturation(cycle, run))
    if any(one.ok is False for one in criteria if one is not seen):
        verdict = "fail"
    else:
        verdict = "pass" if seen.ok else "cannot judge"
    notes = NOTES if cycle.pressure_kpa is not None else (NOT_SATURATED, *NOTES)
    return Judgement(verdict, programme.name, hold_s, f0(cycle), plateau, criteria, notes, mean_c)


def _band(cycle: Cycle, programme: Programme) -> Criterion:
    """No reading lies above the band: too hot harms instruments and wrap, and superheated steam kills less."""
    highest = float(cycle.temperature_c.max())
    top = programme.set_c + programme.band_k
    return Criterion("band", f"highest {highest:.2f} °C", f"at most {top:g} °C", highest <= top, programme.band_source)


def _saturation(cycle: Cycle, run: slice | None) -> Criterion:
    """On the plateau the readings are those of saturated steam: colder is air, hotter is superheat."""
    limit = f"within {SATURATED_K:g} K of saturated steam"
    if cycle.pressure_kpa is None or run is None:
        value = "no pressure was logged" if cycle.pressure_kpa is None else "no plateau"
        return Criterion("saturation", value, limit, None, "EN 285, from memory")
    apart = cycle.temperature_c[run] - saturation.temperature_c(cycle.pressure_kpa[run])
    ok = bool((np.abs(apart) <= SATURATED_K).all())
    value = f"{apart.min():+.2f} to {apart.max():+.2f} K"
    return Criterion("saturation", value, limit, ok, "EN 285, from memory; steam by IAPWS-IF97")
