"""Judging a cycle against its programme: each criterion with its value, its limit and its source."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from service.steam import saturation
from service.steam.cycle import Cycle
from service.steam.lethality import PROBE_K, REFERENCE_C, Z_K, f0_and_error
from service.steam.phases import Phases, Stretch, phases_of
from service.steam.programme import EN_285, PRACTICE, Programme

LONGEST_GAP_S = 60.0
"""Seconds without a reading inside the plateau that can be believed; beyond it nobody saw what the machine did. Common
practice, no source."""
SATURATED_K = 2.0
"""K: how far a reading and saturated steam at its pressure may lie apart on the plateau. EN 285, from memory."""
PROBES_K = 2.0
"""K: how far two probes may lie apart at one moment of the plateau. EN 285, from memory."""
EQUILIBRATION_S = 15.0
"""Seconds from the first probe at the set temperature to all of them, for chambers up to 800 l. EN 285, from memory."""
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
    """What a log says of a cycle. `verdict` is pass, fail or cannot judge; `hold_s` whole seconds; `f0_min` minutes.

    `f0_error_min` is how far the trapezium rule can be from the smooth curve through the readings; `mean_c` (°C) is the
    mean of the first probe on the plateau, weighted by time.
    """

    verdict: str
    programme: str
    hold_s: int
    f0_min: float
    f0_error_min: float
    plateau: Plateau | None
    mean_c: float | None
    criteria: tuple[Criterion, ...]
    phases: tuple[Stretch, ...]
    pulses: int
    notes: tuple[str, ...]

    @property
    def f0_hundredths(self) -> int:
        return round(self.f0_min * 100)

    def measures(self) -> dict[str, int | None]:
        """What is kept of a cycle to look at its machine over time: integers, the unit in the key; None: not seen."""
        heating, drying = (next((p for p in self.phases if p.name == name), None) for name in ("heating", "drying"))
        return {
            "plateau_c_hundredths": None if self.mean_c is None else round(self.mean_c * 100),
            "heating_s": round(heating.seconds) if heating else None,
            "drying_s": round(drying.seconds) if drying else None,
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
            "f0_error_min": round(self.f0_error_min, 4),
            "phases": [asdict(one) for one in self.phases],
            "pulses": self.pulses,
            "measures": self.measures(),
            "notes": list(self.notes),
        }


@dataclass(frozen=True, slots=True)
class Judged:
    """A cycle, what was found of it, and the programme it was held against."""

    cycle: Cycle
    found: Judgement
    programme: Programme


def judge(cycle: Cycle, programme: Programme, *, removal: str | None = None) -> Judgement:
    """Whether `cycle` meets `programme`, run by a machine that takes air out by `removal` (None: not known).

    A criterion that fails makes the cycle fail. What nobody saw makes it `cannot judge`, never `pass`: a gap in the
    readings of the plateau, a machine that cannot run the programme, air whose removal was logged and did not happen.
    """
    phases = phases_of(cycle, programme.lowest_c, programme.highest_c)
    plateau, mean_c, hold_s = None, None, 0
    if phases.plateau is not None:
        seconds, celsius = cycle.seconds[phases.plateau], _probes(cycle)[:, phases.plateau]
        plateau = Plateau(float(seconds[0]), float(seconds[-1]), float(celsius.min()), float(celsius.max()))
        mean_c = _mean(seconds, celsius[0])
        hold_s = int(seconds[-1] - seconds[0])
    must = (
        Criterion("hold", f"{hold_s} s at {programme.lowest_c:g} °C or more", f"at least {programme.hold_s} s",
                  hold_s >= programme.hold_s, programme.source),
        _band(cycle, programme),
        _probes_agree(cycle, phases),
        _equilibration(cycle, phases),
        _saturation(cycle, phases.plateau),
        _drying(phases, programme),
    )  # fmt: skip
    seen = (_gaps(cycle, phases.plateau), _air_removal(cycle, phases, programme, removal))
    if any(one.ok is False for one in must):
        verdict = "fail"
    else:
        verdict = "cannot judge" if any(one.ok is False for one in seen) else "pass"
    f0_min, f0_error_min = f0_and_error(cycle)
    notes = NOTES if cycle.pressure_kpa is not None else (NOT_SATURATED, *NOTES)
    return Judgement(
        verdict, programme.name, hold_s, f0_min, f0_error_min, plateau, mean_c, (*must, *seen), phases.stretches,
        phases.pulses, (*notes, _probe_note(f0_min)),
    )  # fmt: skip


def _probes(cycle: Cycle) -> np.ndarray:
    """The readings of every probe, a row each."""
    return np.vstack([cycle.temperature_c] if cycle.second_c is None else [cycle.temperature_c, cycle.second_c])


def _mean(seconds: np.ndarray, celsius: np.ndarray) -> float:
    if seconds.size == 1:
        return float(celsius[0])
    return float((np.diff(seconds) * (celsius[1:] + celsius[:-1])).sum() / 2 / (seconds[-1] - seconds[0]))


def _probe_note(minutes: float) -> str:
    factor = 10 ** (PROBE_K / Z_K)
    least, most = minutes / factor, minutes * factor
    return f"If the probe is wrong by {PROBE_K:g} K, F0 lies between {least:.1f} and {most:.1f} min."


def _gaps(cycle: Cycle, run: slice | None) -> Criterion:
    """Nobody can say what the machine did where no reading was taken."""
    seconds = cycle.seconds[run] if run is not None else cycle.seconds[:0]
    gap_s = float(np.diff(seconds).max()) if seconds.size > 1 else 0.0
    return Criterion("readings in the plateau", f"longest gap {gap_s:g} s", f"at most {LONGEST_GAP_S:g} s",
                     gap_s <= LONGEST_GAP_S if run is not None else None, PRACTICE)  # fmt: skip


def _band(cycle: Cycle, programme: Programme) -> Criterion:
    """No reading lies above the band: too hot harms instruments and wrap, and superheated steam kills less."""
    highest, top = float(_probes(cycle).max()), programme.highest_c
    return Criterion("band", f"highest {highest:.2f} °C", f"at most {top:g} °C", highest <= top, programme.band_source)


def _probes_agree(cycle: Cycle, phases: Phases) -> Criterion:
    limit = f"within {PROBES_K:g} K of each other"
    if cycle.second_c is None or phases.plateau is None:
        value = "one probe was logged" if cycle.second_c is None else "no plateau"
        return Criterion("probes", value, limit, None, EN_285)
    apart = float(np.abs(cycle.temperature_c - cycle.second_c)[phases.plateau].max())
    return Criterion("probes", f"{apart:.2f} K apart at most", limit, apart <= PROBES_K, EN_285)


def _equilibration(cycle: Cycle, phases: Phases) -> Criterion:
    limit = f"at most {EQUILIBRATION_S:g} s"
    if cycle.second_c is None or phases.plateau is None:
        value = "one probe was logged" if cycle.second_c is None else "no plateau"
        return Criterion("equilibration", value, limit, None, EN_285)
    took = phases.seconds("equilibration") or 0.0
    return Criterion("equilibration", f"{took:g} s from the first probe to all", limit, took <= EQUILIBRATION_S, EN_285)


def _saturation(cycle: Cycle, run: slice | None) -> Criterion:
    """On the plateau the readings are those of saturated steam: colder is air, hotter is superheat."""
    limit = f"within {SATURATED_K:g} K of saturated steam"
    if cycle.pressure_kpa is None or run is None:
        value = "no pressure was logged" if cycle.pressure_kpa is None else "no plateau"
        return Criterion("saturation", value, limit, None, EN_285)
    apart = cycle.temperature_c[run] - saturation.temperature_c(cycle.pressure_kpa[run])
    ok = bool((np.abs(apart) <= SATURATED_K).all())
    value = f"{apart.min():+.2f} to {apart.max():+.2f} K"
    return Criterion("saturation", value, limit, ok, f"{EN_285}; steam by IAPWS-IF97")


def _drying(phases: Phases, programme: Programme) -> Criterion:
    """Wraps that come out wet are not used; a programme may say how long they dry."""
    took = phases.seconds("drying")
    limit = f"at least {programme.dry_s} s" if programme.dry_s else "no limit in this programme"
    value = "not logged" if took is None else f"{took:g} s"
    if took is None or not programme.dry_s:
        return Criterion("drying", value, limit, None, programme.dry_source)
    return Criterion("drying", value, limit, took >= programme.dry_s, programme.dry_source)


def _air_removal(cycle: Cycle, phases: Phases, programme: Programme, removal: str | None) -> Criterion:
    """A programme that needs air pumped out says nothing of a machine that did not pump."""
    pulses, source = f"pulses seen: {phases.pulses}", programme.removal_source
    if programme.removal != "active":
        return Criterion("air removal", pulses, programme.removal, None, source)
    if removal not in {None, "active"}:
        return Criterion("air removal", f"the machine's is by {removal}", "active", False, source)
    if cycle.pressure_kpa is None or phases.plateau is None:
        return Criterion("air removal", pulses, "active", True if phases.pulses else None, source)
    return Criterion("air removal", pulses, "active: 1 pulse or more", phases.pulses > 0, PRACTICE)
