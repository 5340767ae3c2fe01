"""Cycles made for trial, good and bad in each criterion: straight rises and falls, so that an exact F0 is known."""

import itertools
from dataclasses import dataclass, replace

from iapws.iapws97 import _PSat_T


@dataclass(frozen=True)
class Made:
    """What the log is made of: °C, seconds; `steam_k` how much hotter the steam of the logged pressure is (None: none)."""

    name: str
    programme: str
    plateau_c: float
    hold_s: int
    verdict: str
    fails: tuple[str, ...] = ()
    step_s: float = 5.0
    pulses: int = 3
    steam_k: float | None = 0.0
    dry_s: int = 1260
    gap_s: float = 0.0
    dip_c: float | None = None
    spike_c: float | None = None
    second_k: float | None = None
    second_late_s: int = 0
    stops_s: int | None = None

    def points(self):
        """(second, °C) at each corner."""
        at, found = 0, [(0, 25.0)]
        for seconds, celsius in [(60, 25.0), *[(60, 100.0), (60, 60.0)] * self.pulses, (240, self.plateau_c),
                                 (self.hold_s, self.plateau_c), (90, 98.0), (self.dry_s, 95.0)]:  # fmt: skip
            at += seconds
            found.append((at, celsius))
        return found

    @property
    def held_from(self):
        return 60 + 120 * self.pulses + 240

    def celsius(self, second):
        corners = self.points()
        for (t1, c1), (t2, c2) in itertools.pairwise(corners):
            if t1 <= second <= t2:
                return c1 + (c2 - c1) * (second - t1) / (t2 - t1) if t2 > t1 else c2
        raise AssertionError(second)

    def log(self):
        """The CSV, two decimals of °C and of kPa, as a logger writes them."""
        names = "seconds,temperature_c" + (",pressure_kpa" if self.steam_k is not None else "")
        names += ",second_c" if self.second_k is not None else ""
        middle = self.held_from + self.hold_s / 2
        rows, count = [], int(self.points()[-1][0] / self.step_s)
        for second in (n * self.step_s for n in range(count + 1)):
            if self.stops_s is not None and second > self.held_from + self.stops_s:
                break
            if self.gap_s and middle - self.gap_s / 2 < second < middle + self.gap_s / 2:
                continue
            celsius, held = self.celsius(second), self.held_from <= second <= self.held_from + self.hold_s
            odd = self.dip_c if self.dip_c is not None else self.spike_c
            shown = odd if odd is not None and abs(second - middle) < self.step_s / 2 else celsius
            row = [f"{second:g}", f"{shown:.2f}"]
            if self.steam_k is not None:
                row.append(f"{_PSat_T(round(shown, 2) + (self.steam_k if held else 0.0) + 273.15) * 1000:.2f}")
            if self.second_k is not None:
                late = second < self.held_from + self.second_late_s and second > self.held_from - 60
                row.append(f"{(100.0 if late else shown + self.second_k):.2f}")
            rows.append(",".join(row))
        return "\n".join([names, *rows]) + "\n"


_GOOD = Made("134/3, as it should be", "134/3", 135.2, 215, "pass")
CYCLES = [
    _GOOD,
    replace(_GOOD, name="134/3, exactly the set temperature and time", plateau_c=134.0, hold_s=180),
    replace(_GOOD, name="134/3, read each second", step_s=1.0),
    replace(_GOOD, name="134/3, read five times a second", step_s=0.2, dry_s=60),
    replace(_GOOD, name="134/3, read once in a minute", step_s=60.0, hold_s=300),
    replace(_GOOD, name="134/3, no pressure logged", steam_k=None),
    replace(_GOOD, name="134/3, steam within 2 K", steam_k=1.9),
    replace(_GOOD, name="134/3, two probes", second_k=0.6, second_late_s=10),
    replace(_GOOD, name="134/3, a minute without readings", gap_s=60.0, hold_s=420),
    Made("121/15", "121/15", 122.0, 960, "pass"),
    Made("126/10", "126/10", 127.1, 640, "pass"),
    Made("132/4", "132/4", 133.0, 270, "pass"),
    Made("115/30", "115/30", 116.2, 1860, "pass"),
    Made("121/30, gravity", "121/30", 122.0, 1860, "pass", pulses=0),
    Made("132/15, gravity", "132/15", 133.4, 930, "pass", pulses=0),
    Made("121/30 textiles, gravity", "121/30 textiles", 121.8, 1810, "pass", pulses=0),
    Made("134/3 immediate", "134/3 immediate", 135.0, 190, "pass", dry_s=60),
    replace(_GOOD, name="134/3, held too short", hold_s=170, verdict="fail", fails=("hold",)),
    replace(_GOOD, name="134/3, never hot enough", plateau_c=133.9, verdict="fail", fails=("hold",)),
    replace(_GOOD, name="134/3, a dip in the middle", hold_s=220, dip_c=133.5, verdict="fail", fails=("hold",)),
    replace(_GOOD, name="134/3, too hot", plateau_c=137.6, verdict="fail", fails=("hold", "band")),
    replace(_GOOD, name="134/3, too hot for one reading", spike_c=137.4, hold_s=420, verdict="fail", fails=("band",)),
    replace(_GOOD, name="134/3, air in the chamber", steam_k=2.6, verdict="fail", fails=("saturation",)),
    replace(_GOOD, name="134/3, superheated", steam_k=-2.6, verdict="fail", fails=("saturation",)),
    replace(_GOOD, name="134/3, probes apart", plateau_c=134.2, second_k=2.4, verdict="fail", fails=("probes",)),
    replace(_GOOD, name="134/3, the second probe is late", second_k=0.6, second_late_s=25, hold_s=260, verdict="fail",
            fails=("equilibration",)),
    Made("121/30, gravity, dried too short", "121/30", 122.0, 1860, "fail", ("drying",), pulses=0, dry_s=600),
    Made("132/4, dried too short", "132/4", 133.0, 270, "fail", ("drying",), dry_s=900),
    Made("121/15, held too short though its F0 is 12", "121/15", 122.9, 480, "fail", ("hold",)),
    replace(_GOOD, name="134/3, cut by power", stops_s=100, verdict="fail", fails=("hold",)),
    replace(_GOOD, name="134/3, a gap in the plateau", gap_s=75.0, hold_s=420, verdict="cannot judge",
            fails=("readings in the plateau",)),
    replace(_GOOD, name="134/3, air never pumped out", pulses=0, verdict="cannot judge", fails=("air removal",)),
]  # fmt: skip


FIGURES = {
    "134/3, as it should be": (215, 102.622),
    "134/3, exactly the set temperature and time": (180, 66.680),
    "134/3, read each second": (220, 102.623),
    "134/3, read five times a second": (221, 102.552),
    "134/3, read once in a minute": (300, 139.047),
    "134/3, no pressure logged": (215, 102.622),
    "134/3, steam within 2 K": (215, 102.622),
    "134/3, two probes": (205, 102.622),
    "134/3, a minute without readings": (420, 190.444),
    "121/15": (960, 20.441),
    "126/10": (640, 44.464),
    "132/4": (270, 76.345),
    "115/30": (1870, 10.324),
    "121/30, gravity": (1860, 38.766),
    "132/15, gravity": (930, 269.147),
    "121/30 textiles, gravity": (1810, 36.048),
    "134/3 immediate": (190, 87.748),
    "134/3, held too short": (170, 83.344),
    "134/3, never hot enough": (0, 76.294),
    "134/3, a dip in the middle": (105, 104.025),
    "134/3, too hot": (5, 177.487),
    "134/3, too hot for one reading": (205, 191.738),
    "134/3, air in the chamber": (215, 102.622),
    "134/3, superheated": (215, 102.622),
    "134/3, probes apart": (215, 81.695),
    "134/3, the second probe is late": (235, 121.900),
    "121/30, gravity, dried too short": (1860, 38.727),
    "132/4, dried too short": (270, 76.324),
    "121/15, held too short though its F0 is 12": (490, 13.000),
    "134/3, cut by power": (100, 48.782),
    "134/3, a gap in the plateau": (420, 190.444),
    "134/3, air never pumped out": (215, 100.731),
}
"""By cycle: seconds held by every probe, and F0 in minutes of straight lines between the readings. Reckoned by
`tests/published/outside_steam.py`, which knows nothing of Foldmark."""
