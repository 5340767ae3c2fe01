"""The filmed day: every label somebody shows is drawn, held before a camera, written as video, and read again."""

import csv
import io
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from label_templates import codes, raster, stocks
from label_templates.labels import (
    BENCH_CARDS,
    BadgeLabel,
    Label,
    LoadCard,
    Mark,
    PackLabel,
    PatientCard,
    SetTag,
    ShelfLabel,
)
from scanner.client import Client, Verdict
from scanner.film import Film
from scanner.frames import open_source
from scanner.outbox import Outbox
from scanner.watch import Watch
from service.demo import tarn_bridge as tb
from service.demo.diary import Step

ROLL = "roll-62x40"


@dataclass(frozen=True, slots=True)
class Showing:
    """A label before a camera: from frame `first` of its station's video to before frame `end`."""

    first: int
    end: int
    step: Step


@dataclass(slots=True)
class Reel:
    """One station's video and what is shown in it."""

    station: str
    path: Path
    fps: int
    showings: list[Showing] = field(default_factory=list)

    def clock(self, frame: int) -> datetime:
        """The time of a frame: its showing's time in the diary, and on from there at the video's rate."""
        index = max(0, bisect_right([s.first for s in self.showings], frame) - 1)
        showing = self.showings[index]
        return showing.step.at.astimezone(UTC) + timedelta(seconds=(frame - showing.first) / self.fps)


def label_of(code: str, packed: dict[str, tuple[str, str]]) -> Label:
    """The label that carries `code` at Tarn Bridge; `packed` tells who packed a pack, and when."""
    parsed = codes.parse(code)
    match parsed.letter:
        case "S" | "P":
            one = next(one for one in tb.SETS.values() if codes.parse(one.code).number == parsed.number)
            mark = Mark(*one.mark)
            if parsed.letter == "S":
                return SetTag(code, one.name, mark)
            by, at = packed.get(code, ("", ""))
            return PackLabel(code, one.name, mark, by, at)
        case "L" | "W":
            return LoadCard(code, "Steriliser 1" if parsed.letter == "L" else "Washer 1")
        case "B":
            return BadgeLabel(
                code, next(f"{roles[0]} {code[5:8]}" for badge, _, roles, _ in tb.STAFF if badge == code).title()
            )
        case "H":
            return ShelfLabel(code, tb.SHELVES[parsed.number or 0])
        case "A":
            return PatientCard(code, next(f"{name}, {kind}" for patient, name, kind in tb.PATIENTS if patient == code))
        case _:
            return next(card for card in BENCH_CARDS if card.code == code)


def packed_when(steps: list[Step]) -> dict[str, tuple[str, str]]:
    """Who packed each pack, and when, read from the diary: the label shown after DONE at packing."""
    found: dict[str, tuple[str, str]] = {}
    badge = ""
    for step in steps:
        if step.station == "packing-1" and step.code[:1] == "B":
            badge = step.code
        if step.station == "packing-1" and step.code[:1] == "P":
            found.setdefault(step.code, (badge, f"{step.at:%Y-%m-%dT%H:%M}"))
    return found


def film_day(steps: list[Step], packed: dict[str, tuple[str, str]], folder: Path) -> dict[str, Reel]:
    """Film every step of the day: one video a station. The reels by station."""
    roll = stocks.stock(ROLL)
    pictures: dict[str, NDArray[np.uint8]] = {}
    films: dict[str, Film] = {}
    reels: dict[str, Reel] = {}
    for step in steps:
        if step.code not in pictures:
            pictures[step.code] = np.asarray(raster.picture(label_of(step.code, packed), roll).convert("L"))
        if step.station not in films:
            path = folder / f"day-{step.station}.avi"
            films[step.station] = Film(path, seed=sum(step.station.encode()))
            reels[step.station] = Reel(step.station, path, films[step.station].fps)
        film = films[step.station]
        first = film.show(pictures[step.code], step.code)
        reels[step.station].showings.append(Showing(first, film.frames, step))
    for film in films.values():
        film.empty(3)
        film.close()
    return reels


def in_two(steps: list[Step]) -> list[list[Step]]:
    """The day's steps in two halves, whole stations each, for two cores to film."""
    halves: list[list[Step]] = [[], []]
    stations = Counter(step.station for step in steps)
    for station, _ in stations.most_common():
        min(halves, key=len).extend(step for step in steps if step.station == station)
    return halves


def shown_csv(reels: dict[str, Reel], steps: list[Step]) -> str:
    """`shown.csv`: frame, station and code of every label shown, in the order of the day."""
    file = io.StringIO()
    table = csv.writer(file, lineterminator="\n")
    table.writerow(["frame", "station", "code"])
    frames = {id(s.step): s.first for reel in reels.values() for s in reel.showings}
    for step in steps:
        table.writerow([frames[id(step)], step.station, step.code])
    return file.getvalue()


class Cameras:
    """The day's scanners, one a station, each reading its own video and posting to the service."""

    def __init__(
        self, reels: dict[str, Reel], url: str, outboxes: Path, now: Callable[[], datetime], token: str
    ) -> None:
        self._reels = reels
        self._ends = {id(s.step): s.end for reel in reels.values() for s in reel.showings}
        self._heard: list[tuple[str, Verdict]] = []
        self._open: list[Any] = []
        self._watches: dict[str, Watch] = {}
        for station, reel in reels.items():
            source = open_source(str(reel.path), clock=reel.clock)
            outbox = Outbox(outboxes / f"{station}.db")
            client = Client(url, outbox, now, timeout_s=30, token=token)
            self._open += [source, client, outbox]
            self._watches[station] = Watch(source, station, client, lambda _at, code, v: self._heard.append((code, v)))

    def show(self, step: Step) -> list[tuple[str, Verdict]]:
        """Let the station's scanner read on to the end of this showing: what it read, and what was answered."""
        self._heard.clear()
        self._watches[step.station].run(self._ends[id(step)])
        return list(self._heard)

    @property
    def counts(self) -> dict[str, int]:
        found = [watch.counts for watch in self._watches.values()]
        return {
            "frames": sum(c.frames for c in found),
            "scans": sum(c.scans for c in found),
            "answered": sum(c.answered for c in found),
        }

    def close(self) -> None:
        for thing in self._open:
            thing.close()
