"""What a label must bear, and where it goes: cautions that stand wherever labels are made or printed."""

from dataclasses import dataclass

NO_SOURCE = "common practice, no source"
PAIRS = "134 °C for 3 min among the moist heat pairs: Central Sterilising Club 2025, table 10.2"


@dataclass(frozen=True, slots=True)
class Care:
    """One caution: a headline, what to do and why, and where that is from."""

    title: str
    words: str
    source: str


CARES = (
    Care(
        "Heat",
        "Direct-thermal paper turns black at about 134 °C: print by ribbon, laser or ink on steam-proof stock.",
        PAIRS,
    ),
    Care("Steam", "Adhesive, face and ribbon must each be rated by their maker for steam at 134 °C.", NO_SOURCE),
    Care("Seam and tape", "Not over the wrap's seam, and not over the indicator tape: both must be seen.", NO_SOURCE),
    Care(
        "Outside only",
        "On the outer wrap, never inside a pack. Write on the label, not on the wrap: ink goes through.",
        NO_SOURCE,
    ),
    Care(
        "Pouch",
        "On the film side, never on the paper: steam passes the paper only, and ink or a label blocks it.",
        NO_SOURCE,
    ),
    Care("Handling", "Stick it on clean, dry and flat, press it down, and scan it before the next set.", NO_SOURCE),
    Care(
        "Check", "After a change of ribbon, stock or printer, scan one label before and after the autoclave.", NO_SOURCE
    ),
)
