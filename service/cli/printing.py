"""Labels as the service prints them: a pack's when it is packed, its load slip when its load starts."""

import logging
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from label_templates import raster, stocks
from label_templates.labels import Label
from label_templates.printer.drawing import document
from label_templates.printer.queue import PRINTED
from label_templates.stocks import Stock
from service.cli.label.drawing import marked
from service.cli.label.printers import send, stock_at
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


class LabelPrinter:
    """A real printer. What cannot be printed now waits in the queue, and is printed with the next label."""

    def __init__(self, printer: str, queue_file: Path, stock: Stock, zone: ZoneInfo) -> None:
        self._printer, self._queue, self._stock, self._zone = printer, queue_file, stock_at(printer, stock), zone

    def pack(self, owner: InstrumentSet, pack: Pack, copy: int = 1) -> None:
        self._send(marked(pack_label(owner, pack, self._zone), copy), pack.code)

    def slip(self, load: Load, machine: Machine | None, pack: Pack) -> None:
        self._send(load_slip(load, machine, pack, self._zone), f"{pack.code} slip")

    def _send(self, label: Label, title: str) -> None:
        """Raise PrintError unless the printer said that it printed the label."""
        job = send(document([label], self._stock), self._stock, self._printer, title, [label.code],
                   queue_file=self._queue, tell=_tell)  # fmt: skip
        if job.state != PRINTED:
            raise PrintError(f"{title}: {job.state}, {job.words}")


class PrintError(Exception):
    """A label the printer has not printed; it waits in the queue."""


def _tell(line: str) -> None:
    logging.getLogger("foldmark").info("printing", extra={"told": {"printer": line}})
