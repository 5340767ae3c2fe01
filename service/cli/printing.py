"""Labels as pictures in a folder: a pack's when it is packed, its load slip when its load starts."""

from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from label_templates import raster, stocks
from label_templates.labels import LoadSlip, Mark, PackLabel
from service.custody.chain import use_by
from service.custody.facts import moment
from service.custody.records import InstrumentSet, Load, Machine, Pack

ROLL = "roll-62x40"


def mark_of(owner: InstrumentSet) -> Mark | None:
    return Mark(owner.mark_colour, owner.mark_pattern) if owner.mark_colour and owner.mark_pattern else None


def pack_label(owner: InstrumentSet, pack: Pack, zone: ZoneInfo) -> PackLabel:
    """What is printed on a pack's label."""
    at = f"{moment(pack.packed_at).astimezone(zone):%Y-%m-%dT%H:%M}" if pack.packed_at else ""
    return PackLabel(pack.code, owner.name, mark_of(owner), pack.packed_by or "", at, pack.short)


def load_slip(load: Load, machine: Machine | None, pack: Pack, zone: ZoneInfo) -> LoadSlip:
    """What a pack's label could not know: its load, its day in steam, its use-by.

    Before the load's end the day of its start stands for it: slips are printed while the machine runs.
    """
    ended = load if load.ended_at else replace(load, ended_at=load.started_at)
    day = moment(str(ended.ended_at)).astimezone(zone).date()
    return LoadSlip(load.code, machine.name if machine else load.machine, day, use_by(pack, ended, zone))


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
