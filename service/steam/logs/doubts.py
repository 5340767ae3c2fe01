"""What cannot have been in a chamber (refused), and what looks like another unit (asked about)."""

from itertools import pairwise

import numpy as np

from service.steam import saturation
from service.steam.cycle import COLDEST_C, HIGHEST_KPA, HOTTEST_C, Cycle, CycleError, Series
from service.steam.logs.units import CELSIUS, FAHRENHEIT, KPA

PROBE = "a probe's fault; check the probe, and judge the load by its printout"
HOT_C = 115.0
"""°C: above it there is steam under pressure, and a pressure can be told from saturated steam's."""
CLOSE = 0.05
"""How near to saturated steam's a pressure in another unit must lie to be taken for it."""
SPIKE_K, SPIKE_K_PER_S, RETURNS_K = 15.0, 3.0, 5.0
"""One reading so far from both its neighbours, that fast, which are this near to each other: no chamber does that."""
DROP_K, DROP_S = 40.0, 5.0
"""A fall that only a broken probe shows: emptying a chamber takes longer."""
FLAT_READINGS = 30
"""A whole log of so many readings and all alike: nothing was heated."""
STUCK_READINGS, STUCK_KPA = 10, 30.0
"""Hot readings all alike to the last digit, while the pressure changed so much."""
HOT_KPA = 150.0
"""A chamber above it is hot; below it a leak test may leave the temperature as it is."""
BETWEEN_C, BETWEEN_S, PLATEAU_K, PLATEAU_S = 110.0, 300.0, 4.0, 60.0
"""Two stretches near the hottest reading with so long a cold one between them are two cycles. All of these: common
practice, no source."""


def unit_doubts(cycle: Cycle, unit: str) -> list[str]:
    """What the temperatures look like, where it is not what was said."""
    hottest = float(cycle.temperature_c.max())
    if unit == CELSIUS and 212 <= hottest <= 290 and np.count_nonzero(cycle.temperature_c > HOTTEST_C) > 1:
        return [f"the hottest reading is {hottest:g} °C, which no steriliser reaches: are these °F? Say the unit"]
    as_celsius = hottest * 1.8 + 32
    if unit == FAHRENHEIT and 100 <= as_celsius <= 140:
        return [f"the hottest reading is {as_celsius:g} °F, {hottest:.1f} °C: are these °C? Say the unit"]
    return []


def pressure_doubts(cycle: Cycle, unit: str, ambient_kpa: float, *, gauge: bool) -> list[str]:
    """Whether the pressure would be saturated steam's in another unit, or read from nothing instead of from the air."""
    hot = cycle.temperature_c >= HOT_C
    if cycle.pressure_kpa is None or not hot.any():
        return []
    steam = saturation.pressure_kpa(cycle.temperature_c[hot])
    logged = cycle.pressure_kpa[hot]
    off = float(np.median(logged - steam))
    if abs(off) > 0.6 * ambient_kpa and abs(abs(off) - ambient_kpa) <= 5 and (off > 0) == gauge:
        taken, other = ("gauge", "absolute") if gauge else ("absolute", "gauge")
        words = f"the pressure was taken as {taken} and lies {off:+.0f} kPa from saturated steam's, as the air outside"
        return [f"{words}: is it {other}? Say gauge = {str(not gauge).lower()}"]
    if 0.5 <= float(np.median(logged / steam)) <= 2:
        return []
    raw = (logged - (ambient_kpa if gauge else 0)) / KPA[unit]
    for name, kpa in KPA.items():
        for added, word in ((ambient_kpa, "gauge"), (0.0, "absolute")):
            if abs(float(np.median((raw * kpa + added) / steam)) - 1) < CLOSE:
                return [f"the pressure is not steam's in {unit}, and would be in {name} {word}: say the unit"]
    return []


def guessed_gauge(cycle: Cycle, ambient_kpa: float) -> bool | None:
    """Whether a pressure that does not say so was a gauge's: by a reading below nothing, or as hot steam has it."""
    pressure = cycle.pressure_kpa
    if pressure is None:
        return None
    if float(pressure.min()) < -5:
        return True
    hottest = int(cycle.temperature_c.argmax())
    if cycle.temperature_c[hottest] < HOT_C:
        return None
    off = float(pressure[hottest] - saturation.pressure_kpa(float(cycle.temperature_c[hottest])))
    near = [gauge for gauge in (True, False) if abs(off + ambient_kpa * gauge) < ambient_kpa / 3]
    return near[0] if near else None


def refuse_faults(cycle: Cycle, lines: list[int]) -> None:
    """Raise CycleError for what no chamber does: a probe's fault, another unit, a second cycle."""
    if cycle.pressure_kpa is not None:
        odd = np.flatnonzero((cycle.pressure_kpa < 0) | (cycle.pressure_kpa > HIGHEST_KPA))
        if odd.size:
            line, value = lines[int(odd[0])], cycle.pressure_kpa[odd[0]]
            raise CycleError(f"line {line}: {value:g} kPa absolute cannot be in a steriliser: check the unit")
    _second_cycle(cycle, lines)
    for probe, name in ((cycle.temperature_c, ""), (cycle.second_c, " (second probe)")):
        if probe is not None:
            _range(probe, lines, name)
            _jumps(cycle.seconds, probe, lines, name)
            _flat(probe, cycle.pressure_kpa, lines, name)


def _range(probe: Series, lines: list[int], name: str) -> None:
    odd = np.flatnonzero((probe < COLDEST_C) | (probe > HOTTEST_C))
    if odd.size:
        line, value = lines[int(odd[0])], probe[odd[0]]
        raise CycleError(f"line {line}: {value:g} °C{name} cannot be in a steriliser: check the unit and the probe")


def _jumps(seconds: Series, probe: Series, lines: list[int], name: str) -> None:
    steps, jumps = np.diff(seconds), np.diff(probe)
    into, out = jumps[:-1], jumps[1:]
    far = np.maximum(SPIKE_K, SPIKE_K_PER_S * np.maximum(steps[:-1], steps[1:]))
    spikes = np.flatnonzero((np.minimum(np.abs(into), np.abs(out)) >= far) & (np.abs(into + out) <= RETURNS_K))
    if spikes.size:
        at = int(spikes[0]) + 1
        alone = f"{probe[at]:g} °C{name} stands alone between {probe[at - 1]:g} and {probe[at + 1]:g} °C"
        raise CycleError(f"line {lines[at]}: {alone}: {PROBE}")
    drops = np.flatnonzero((jumps <= -DROP_K) & (steps <= DROP_S))
    if drops.size:
        at = int(drops[0]) + 1
        fell = f"from {probe[at - 1]:g} to {probe[at]:g} °C{name} in {steps[at - 1]:g} s"
        raise CycleError(f"line {lines[at]}: {fell}: {PROBE}")


def _flat(probe: Series, pressure: Series | None, lines: list[int], name: str) -> None:
    edges = np.flatnonzero(np.concatenate(([True], np.diff(probe) != 0, [True])))
    lengths = np.diff(edges)
    cold_vacuum = pressure is not None and float(pressure.max()) < HOT_KPA and float(np.ptp(pressure)) > 0
    if lengths.size == 1 and lengths[0] >= FLAT_READINGS and not cold_vacuum:
        raise CycleError(
            f"line {lines[0]}: every reading is {probe[0]:g} °C{name}: the probe is stuck or not connected; check it"
        )
    if pressure is None:
        return
    for run in np.flatnonzero((lengths >= STUCK_READINGS) & (probe[edges[:-1]] >= HOT_C)):
        begin, length = int(edges[run]), int(lengths[run])
        changed = float(np.ptp(pressure[begin : begin + length]))
        if changed > STUCK_KPA:
            stuck = f"{probe[begin]:g} °C{name} for {length} readings while the pressure changed by {changed:.0f} kPa"
            raise CycleError(f"line {lines[begin]}: {stuck}: the probe is stuck; check it")


def _second_cycle(cycle: Cycle, lines: list[int]) -> None:
    hot = cycle.temperature_c >= max(HOT_C, float(cycle.temperature_c.max()) - PLATEAU_K)
    ends = np.flatnonzero(np.diff(np.concatenate(([False], hot, [False])).astype(np.int8)))
    starts, ends = ends[::2], ends[1::2] - 1
    long = np.flatnonzero(cycle.seconds[ends] - cycle.seconds[starts] >= PLATEAU_S)
    for before, after in pairwise(long):
        gap = slice(int(ends[before]) + 1, int(starts[after]))
        cold = np.flatnonzero(cycle.temperature_c[gap] < BETWEEN_C) + gap.start
        if cold.size > 1 and cycle.seconds[cold[-1]] - cycle.seconds[cold[0]] >= BETWEEN_S:
            coldest = gap.start + int(cycle.temperature_c[gap].argmin())
            raise CycleError(f"line {lines[coldest]}: a second cycle begins about there: send one cycle a file")
