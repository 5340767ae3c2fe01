"""What to do about a value, in words. Ink is told in printer dots where their size is known, else in percent."""

from collections.abc import Sequence
from dataclasses import dataclass

from label_templates.grade.limits import GROWTH_TOLD, UNEVEN_TOLD

CONTRAST = "ink too pale or label too dark: raise the print darkness, change the ribbon; light the label evenly"
REFLECTANCE = "the bars reflect more than half of what the label does: this ribbon does not suit this stock"
SOFT = "edges are soft: hold the camera still and close, scan at 600 dpi, or clean the print head"
EDGE = "a bar hardly differs from the space beside it: clean the print head and look for a worn ribbon"
SPOTS = "spots or voids: clean the print head and roller, look for dust, creases and a torn ribbon"
UNEVEN = "bars of uneven width: print at 100 %, slower, every module in whole dots"
UNREAD = "bars are missing or joined: clean the print head, print at 100 %, every module in whole dots"
LEVEL = "photograph the label from straight above, flat, or scan it"
PATTERNS = "the squares in the corners or the dotted lines are damaged: clean the print head, look for creases"
GRID = "modules stand out of place: the label was bent when photographed, or slips while it is printed"
WORN = "modules are lost: print the label again; clean the print head, look for creases, glare and dirt"


@dataclass(frozen=True, slots=True)
class Dots:
    """How many printer dots a module is wide, or a pixel of the picture; neither where it is not known."""

    per_module: float | None = None
    per_pixel: float | None = None

    def amount(self, share: float, pixels_per_module: float) -> str:
        """How much a share of a module is. A module is a whole number of dots, so what pixels come to is rounded."""
        dots = self.per_module or (round(self.per_pixel * pixels_per_module) if self.per_pixel else None)
        return f"{abs(share) * dots:.1f} dots" if dots else f"{abs(share) * 100:.0f} % of a module"


def growth(share: float, amount: str) -> str:
    """What to do about bars that are fat (above 0) or thin by a share of a module; nothing within the usual."""
    if abs(share) < GROWTH_TOLD:
        return ""
    told = f"bars {amount} {'fat' if share > 0 else 'thin'}: print darkness too "
    return told + ("high, or printing too slow" if share > 0 else "low, printing too fast, or a worn print head")


def uneven(lightest: Sequence[float]) -> str:
    """What to do about light that falls unevenly, by the lightest place of each part of a symbol."""
    share = min(lightest) / (max(lightest) or 1)
    return (
        "" if share >= UNEVEN_TOLD else f"one side has {share * 100:.0f} % of the other's light: light the label evenly"
    )


def axes(wide: float, tall: float) -> str:
    """What to do about modules that are wider than tall, or the other way."""
    longer = "wider than tall" if wide > tall else "taller than wide"
    share = abs(wide - tall) / ((wide + tall) / 2)
    return f"modules {share * 100:.0f} % {longer}: print at 100 %, check the printer's feed, and {LEVEL}"


def quiet_bars(modules: float, *, cut: bool) -> str:
    """What to do about a Code 128 with too little free beside it."""
    if cut:
        return f"the picture ends {modules:.1f} modules beside the bars: photograph 10 modules more on each side"
    return f"only {modules:.1f} modules are free beside the bars: keep 10 free of print, edges and folds"


def quiet_square(wrong: int, cut: int) -> str:
    """What to do about a QR code whose margin of 4 modules is not light."""
    if cut:
        return "the picture ends within the margin: photograph at least 4 modules more round the code"
    return f"{wrong} modules of the margin are not light: keep 4 modules round the code free of print, edges and folds"
