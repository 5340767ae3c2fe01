"""Pack labels as pictures in a folder, the moment a pack is packed."""

from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from label_templates import raster, stocks
from service.cli.label import pack_label
from service.stations.desk import Printer

ROLL = "roll-62x40"


def label_folder(folder: Path, zone: ZoneInfo) -> Printer:
    """A printer that writes `<pack>.png` into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)

    def printer(what: Any, pack: str) -> None:
        record, owner = what
        raster.write_png(pack_label(owner, record, zone), stocks.stock(ROLL), folder / f"{pack}.png")

    return printer
