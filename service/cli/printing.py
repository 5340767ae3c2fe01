"""Labels as pictures in a folder: a pack's when it is packed, its load slip when its load starts."""

from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from label_templates import raster, stocks
from service.custody.records import InstrumentSet, Load, Machine, Pack
from service.stations.printed import load_slip, pack_label

ROLL = "roll-62x40"


class LabelFolder:
    """A printer that writes `<pack>.png`, `<pack>-copy-2.png` and `<pack>-slip.png` into a folder."""

    def __init__(self, folder: Path, zone: ZoneInfo) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder, self._zone, self._stock = folder, zone, stocks.stock(ROLL)

    def pack(self, owner: InstrumentSet, pack: Pack, copy: int = 1) -> None:
        label, name = pack_label(owner, pack, self._zone), pack.code
        if copy > 1:
            label, name = replace(label, copy=copy), f"{name}-copy-{copy}"
        raster.write_png(label, self._stock, self._folder / f"{name}.png")

    def slip(self, load: Load, machine: Machine | None, pack: Pack) -> None:
        label = load_slip(load, machine, pack, self._zone)
        raster.write_png(label, self._stock, self._folder / f"{pack.code}-slip.png")
