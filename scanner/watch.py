"""Watch: the scanner at work. A source is read frame by frame, and every label shown becomes one scan."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime

import cv2

from label_templates.codes import Code
from scanner.client import Client, Verdict
from scanner.decode import Sighting, ours, read
from scanner.frames import Frame, Source
from scanner.outbox import new_id
from scanner.steady import Steady

_SECOND_OPINION_EVERY = 4
"""zbar is asked at every fourth frame, with the time of four: a label stays in view for more."""
Told = Callable[[datetime, str, Verdict], None]


@dataclass(slots=True)
class Counts:
    """What a watch has done so far."""

    frames: int = 0
    sightings: int = 0
    scans: int = 0
    answered: int = 0


class Watch:
    """One station's scanner over one source. `told` hears every verdict: time, code, verdict."""

    def __init__(
        self, source: Source, station: str, client: Client, told: Told, *, patient_pattern: str | None = None
    ) -> None:
        self._source = source
        self._frames: Iterator[Frame] = iter(source)
        self._station = station
        self._client = client
        self._told = told
        self._pattern = patient_pattern
        self._steady = Steady(self._gate)
        self.counts = Counts()

    def run(self, until_frame: int | None = None) -> bool:
        """Read on to frame `until_frame`, or to the end. False when the source has ended. Raises SourceError."""
        while until_frame is None or self.counts.frames < until_frame:
            frame = next(self._frames, None)
            if frame is None:
                return False
            self._look(frame)
        return True

    def _gate(self, seen: Sighting) -> Code | str | None:
        code = ours(seen, self._pattern)
        self.counts.sightings += code is not None
        return code

    def _look(self, frame: Frame) -> None:
        self.counts.frames += 1
        grey = frame.image if frame.image.ndim == 2 else cv2.cvtColor(frame.image, cv2.COLOR_BGR2GRAY)
        if not self._steady.wants(frame.at_s, grey):
            return
        due = self.counts.frames % _SECOND_OPINION_EVERY == 0
        budget = _SECOND_OPINION_EVERY / self._source.fps if due else 0.0
        for outcome in self._steady.feed(frame.at_s, grey, read(frame.image, budget)):
            if outcome.kind == "scan":
                self._scan(frame, outcome.code)
            else:
                self._told(frame.at, "", Verdict("ask", outcome.words))

    def _scan(self, frame: Frame, code: str) -> None:
        scan = {"id": new_id(), "station": self._station, "code": code, "seen_at": frame.at.isoformat()}
        self.counts.scans += 1
        verdict = self._client.scan(scan)
        self.counts.answered = self._client.answered
        self._told(frame.at, code, verdict)
