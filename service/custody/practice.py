"""What a site has chosen where bodies disagree. Data with a source, never a constant in a rule."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class ProgrammeLimits:
    """A programme as loading knows it: °C, what it may hold (wrapped, hollow, textile, unwrapped), how air goes."""

    name: str
    set_c: float
    holds: tuple[str, ...] = ("wrapped", "hollow", "textile")
    immediate: bool = False
    removal: str | None = None


@dataclass(frozen=True, slots=True)
class ShelfLife:
    """How long a wrap is trusted: whole days, or None for event-related; with where that was read."""

    days: int | None
    source: str


SHELF_LIVES = {
    "double": ShelfLife(180, "six months on open shelf: University of Wisconsin 2011-041, rarc.wisc.edu"),
    "pouch": ShelfLife(365, "heat-sealed pouch, one year: vetsurgeryonline.com/sterilization-packaging"),
    "none": ShelfLife(0, "unwrapped: used at once; common practice, no source"),
}


@dataclass(frozen=True, slots=True)
class Practice:
    """A site's choices. Seconds, minutes and hours are integers; `tz` is the site's time, `language` its pages' speech.

    The hours are how long something may stand at a station before the board calls it overdue: soiled, in a wash load,
    packed and not loaded, in a cycle, waiting for release, in a case. Common practice, no source.

    `log_minutes` is how far a log's beginning and its load's may lie apart (common practice, no source); `altitude_m`
    the height a gauge is read at. `logs` and `readings` say for each machine how its logger writes, and how
    people write down its readings: a mapping as one line of JSON.
    """

    site: str = "K7"
    name: str = "A practice"
    tz: str = "Europe/London"
    language: str = "en"
    idle_minutes: int = 20
    session_minutes: int = 30
    undo_seconds: int = 120
    quiet_minutes: int = 15
    cooling_minutes: int = 30
    soiled_hours: int = 4
    wash_hours: int = 3
    packed_hours: int = 48
    cycle_hours: int = 3
    waiting_hours: int = 24
    case_hours: int = 8
    clean_entry: bool = True
    wet_condemns: str = "pack"
    release_before_biological: bool = True
    packer_may_release: bool = True
    air_removal_daily: bool = True
    band: str = ""
    """The name of the temperature band that every programme is judged by; empty: each by its own."""
    recall_policy: str = "fault first"
    """Who is recalled at a positive biological: one of `recall.POLICIES`."""
    load_mass_g: int = 0
    load_mass_source: str = "not named"
    """What a load may weigh, and who says so: the machine's maker, or the practice's validation. 0: nobody said."""
    altitude_m: int = 0
    log_minutes: int = 30
    quarantine_shelves: tuple[str, ...] = ()
    patient_pattern: str | None = None
    shelf_lives: Mapping[str, ShelfLife] = field(default_factory=lambda: SHELF_LIVES)
    own_programmes: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    """Programmes the site has validated itself, as in its settings, by name."""
    programmes: Mapping[str, ProgrammeLimits] = field(default_factory=dict)
    logs: Mapping[str, str] = field(default_factory=dict)
    readings: Mapping[str, str] = field(default_factory=dict)

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.tz)
