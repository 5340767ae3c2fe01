"""Check: is a bench set up so that labels read, and if not, what is to be changed?"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

from scanner.aim import Aim


@dataclass(frozen=True, slots=True)
class Gauge:
    """Something measured in an aim, between what limits it is good, and what to change where it is not."""

    what: str
    of: Callable[[Aim], float | None]
    full: float
    low: str = ""
    high: str = ""
    least: float = 0.0
    most: float = float("inf")
    anywhere: bool = False
    """Whether it can be called good without a label in the picture."""

    def change(self, value: float) -> str:
        """What to change; nothing where the value is good."""
        return self.low if value < self.least else self.high if value > self.most else ""

    @property
    def limit(self) -> str:
        parts = [f"at least {self.least:g}"] if self.least else []
        return ", ".join(parts + ([f"at most {self.most:g}"] if self.most < float("inf") else []))


MODULE = Gauge(
    "pixels a module", lambda one: one.module_px, 12, least=3,
    low="bring the camera closer, or choose a larger picture with --size",
)  # fmt: skip
"""Common practice, no source: room for a label held further off than the one shown."""
SHARPNESS = Gauge(
    "sharpness", lambda one: one.sharpness, 3, least=1,
    low="set the focus with --focus, wipe the lens, hold the label still",
)  # fmt: skip
"""Above what labels had that were just read, on a film blurred in steps: tests/scanner/test_check.py."""
LIGHT = Gauge(
    "light", lambda one: one.light, 255, least=90, most=250, anywhere=True,
    low="bring more light onto the bench", high="take less light, or a shorter --exposure",
)  # fmt: skip
CONTRAST = Gauge(
    "contrast", lambda one: None if one.module_px is None else one.contrast, 255, least=60,
    low="light the label from the side, or print it darker",
)  # fmt: skip
GLARE = Gauge(
    "glare in %", lambda one: 100 * one.glare, 20, most=5, anywhere=True,
    high="move the lamp or tilt the label, so that the lamp is not mirrored in it",
)  # fmt: skip
"""Grey levels and shares: common practice, no source."""
GAUGES = (MODULE, SHARPNESS, LIGHT, CONTRAST, GLARE)
LEAST_FPS = 15.0
"""Two frames must agree before a code is believed: two of these take 133 of the 150 ms that a verdict may take."""


@dataclass(frozen=True, slots=True)
class Judged:
    """One thing judged: its value, its limit in words, and what to change where it is not ok."""

    what: str
    value: float
    limit: str
    ok: bool
    change: str


def judge(aims: Sequence[Aim], fps: float) -> list[Judged]:
    """What a bench's frames say of it. Only frames with a label speak; without one, that is what is to change."""
    labels = [one for one in aims if one.module_px is not None]
    slow = "" if fps >= LEAST_FPS else "bring more light, or choose a smaller picture with --size: the camera is slow"
    found = [Judged("frames a second", fps, f"at least {LEAST_FPS:g}", not slow, slow)]
    if not labels:
        return [Judged("frames with a label in %", 0.0, "some", ok=False, change=_show_one(aims)), *found]
    for gauge in GAUGES:
        value = median(gauge.of(one) or 0.0 for one in labels)
        change = gauge.change(value)
        found.append(Judged(gauge.what, value, gauge.limit, not change, change))
    return [Judged("frames with a label in %", 100 * len(labels) / len(aims), "some", ok=True, change=""), *found]


def _show_one(aims: Sequence[Aim]) -> str:
    dark = bool(aims) and median(one.light for one in aims) < LIGHT.least
    first = "bring light, it is dark, and hold" if dark else "hold"
    return f"{first} one of our labels under the camera, as flat and still as at work"
