"""Judging a cycle against its programme: each criterion with its value, its limit and its source."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from service.steam.cycle import Cycle
from service.steam.lethality import REFERENCE_C, f0
from service.steam.programme import Programme

LONGEST_GAP_S = 60.0
"""Seconds without a reading inside the plateau that can be believed; beyond it nobody saw what the machine did. Common
practice, no source."""
NOTES = (
    "The band above the set temperature and saturation are not judged yet.",
    f"F0 is calculated by the trapezium rule at {REFERENCE_C} °C; a calculated F0 is not a validation.",
)


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
    """The longest stretch at or above the set temperature: seconds of the log, °C."""

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
    notes: tuple[str, ...] = NOTES

    @property
    def f0_hundredths(self) -> int:
        return round(self.f0_min * 100)

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


def _longest_run(cycle: Cycle, set_c: float) -> slice | None:
    """The rows of the longest stretch at or above `set_c`: readings between which it never fell below."""
    hot = np.concatenate(([False], cycle.temperature_c >= set_c, [False]))
    edges = np.flatnonzero(np.diff(hot.astype(np.int8)))
    starts, ends = edges[::2], edges[1::2] - 1
    if not starts.size:
        return None
    best = int(np.argmax(cycle.seconds[ends] - cycle.seconds[starts]))
    return slice(int(starts[best]), int(ends[best]) + 1)


def judge(cycle: Cycle, programme: Programme) -> Judgement:
    """Whether `cycle` meets `programme`. A gap in the readings of the plateau is `cannot judge`, never `pass`."""
    run = _longest_run(cycle, programme.set_c)
    plateau, hold_s, gap_s = None, 0, 0.0
    if run is not None:
        seconds, temperature = cycle.seconds[run], cycle.temperature_c[run]
        plateau = Plateau(float(seconds[0]), float(seconds[-1]), float(temperature.min()), float(temperature.max()))
        hold_s = int(seconds[-1] - seconds[0])
        gap_s = float(np.diff(seconds).max()) if seconds.size > 1 else 0.0
    held = hold_s >= programme.hold_s
    seen = gap_s <= LONGEST_GAP_S
    criteria = (
        Criterion("hold", f"{hold_s} s at {programme.set_c:g} °C or more", f"at least {programme.hold_s} s", held,
                  programme.source),
        Criterion("readings in the plateau", f"longest gap {gap_s:g} s", f"at most {LONGEST_GAP_S:g} s",
                  seen if run is not None else None, "common practice, no source"),
    )  # fmt: skip
    verdict = "fail" if not held else "pass" if seen else "cannot judge"
    return Judgement(verdict, programme.name, hold_s, f0(cycle), plateau, criteria)
