"""Pack labels as pictures in a folder, the moment a pack is packed."""

from pathlib import Path
from typing import Any

from label_templates import designs, raster, stocks
from service.custody.records import InstrumentSet, Pack
from service.stations.desk import Printer

ROLL = "roll-62x40"


def pack_label(owner: InstrumentSet, pack: Pack) -> designs.PackLabel:
    """What is printed on a pack's label."""
    mark = designs.Mark(owner.mark_colour, owner.mark_pattern) if owner.mark_colour and owner.mark_pattern else None
    return designs.PackLabel(
        code=pack.code, name=owner.name, mark=mark, packed_by=pack.packed_by or "", packed_at=pack.packed_at or "",
        short=pack.short,
    )  # fmt: skip


def label_folder(folder: Path) -> Printer:
    """A printer that writes `<pack>.png` into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)

    def printer(what: Any, pack: str) -> None:
        record, owner = what
        raster.write_png(pack_label(owner, record), stocks.stock(ROLL), folder / f"{pack}.png")

    return printer
