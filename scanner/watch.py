"""Watch: the scanner at work. A source is read frame by frame, and every label shown becomes one scan."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from typing import Any

import cv2

from label_templates.codes import Code
from scanner.client import NOT_TAKEN, Client, Verdict
from scanner.decode import Seen, Sighting, look, read
from scanner.foreign import Foreign, sort, sort_typed
from scanner.frames import Frame, Given, Source, Text, Words
from scanner.outbox import OutboxError, new_id
from scanner.showing import Showings
from scanner.sources.pictures import PictureError, as_picture
from scanner.steady import Steady

_SHARE, MOST_S = 0.9, 0.03
"""The share of a frame's time that reading it may take, and the most it may in seconds."""
_IN_PASSING = 3
"""Frames in a row that only the stock reader looks at before a label is rescued: one on its way needs none."""
Told = Callable[[datetime, str, Verdict], None]


def _nobody(*_: Any) -> None:
    """Nobody listens."""


@dataclass(frozen=True, slots=True)
class Also:
    """Who else hears: of words for a person, codes that are not ours, each frame with its sightings, each turn."""

    words: Callable[[str], None] = _nobody
    foreign: Callable[[datetime, Foreign], None] = _nobody
    seen: Callable[[Frame, list[Sighting]], None] = _nobody
    turn: Callable[[], None] = _nobody


@dataclass(slots=True)
class Counts:
    """What a watch has done so far. `unread`: frames that could not be read; `foreign`: codes not ours, by kind."""

    frames: int = 0
    sightings: int = 0
    scans: int = 0
    answered: int = 0
    unread: int = 0
    not_taken: int = 0
    foreign: Counter[str] = field(default_factory=Counter)


class Watch:
    """One station's scanner over one source. `told` hears every verdict: time, code, verdict."""

    def __init__(  # noqa: PLR0913  (a scanner has as many sides to it)
        self, source: Source, station: str, client: Client, told: Told, *, site: str | None = None,
        patient_pattern: str | None = None, also: Also | None = None,
    ) -> None:  # fmt: skip
        """With `site`, codes of other sites are foreign; without it they are the service's to refuse."""
        self._source = source
        self._given: Iterator[Given] = iter(source)
        self._station = station
        self._client = client
        self._told = told
        self._ours = (site, patient_pattern)
        self._also = also or Also()
        self._budget_s = min(MOST_S, _SHARE / source.fps)
        self._steady = Steady(self._gate, partial(read, budget_s=self._budget_s))
        self._strangers = Showings()
        self._shown: list[Sighting] = []
        self._in_vain = 0
        self._faults: set[str] = set()
        self.counts = Counts()

    def run(self, until_frame: int | None = None) -> bool:
        """Read on to frame `until_frame`, or to the end. False when the source has ended. Raises SourceError."""
        while until_frame is None or self.counts.frames < until_frame:
            try:
                given = next(self._given)
            except StopIteration:
                return False
            self._take(given)
            self._tend()
            self.tell_late()
            self._also.turn()
        return True

    def _take(self, given: Given) -> None:
        if isinstance(given, Frame):
            self._look(given)
        elif isinstance(given, Text):
            self.counts.sightings += 1
            self._sorted(given.at, sort_typed(given.text, *self._ours))
        elif isinstance(given, Words):
            self._also.words(given.words)

    def _look(self, frame: Frame) -> None:
        self.counts.frames += 1
        try:
            frame = replace(frame, image=as_picture(frame.image))
        except PictureError as error:
            self._fault("picture", f"{error}: it is left out")
            return
        image = frame.image
        grey = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
        if not self._steady.wants(frame.at_s, grey):
            self._also.seen(frame, self._shown)
            return
        seen = self._read(frame)
        self._shown = seen.sightings
        self._also.seen(frame, seen.sightings)
        for outcome in self._steady.feed(frame.at_s, grey, seen.sightings, seen.unread):
            if outcome.kind == "scan":
                self._scan(frame.at, outcome.code)
            else:
                self._told(frame.at, "", Verdict("ask", outcome.words))
        found = [sort(one, *self._ours) for one in seen.sightings]
        strangers = {one.words: one for one in found if isinstance(one, Foreign)}
        for words in self._strangers.feed(frame.at_s, dict.fromkeys(strangers, 1)):
            self._sorted(frame.at, strangers[words])

    def _gate(self, seen: Sighting) -> Code | str | None:
        """What a sighting may be believed to be, at this site."""
        found = sort(seen, *self._ours)
        if isinstance(found, Foreign):
            return None
        self.counts.sightings += 1
        return found

    def _read(self, frame: Frame) -> Seen:
        """What the decoder sees. A frame that it fails on is counted, and the fault told once: the next may do."""
        hard = self._in_vain >= _IN_PASSING
        try:
            seen = look(frame.image, self._budget_s if hard else 0.0)
        except Exception as error:  # noqa: BLE001  (whatever a library throws, the scanner stays up)
            self._fault(type(error).__name__, f"the decoder failed on a frame ({type(error).__name__}: {error})"[:200])
            return Seen([], [])
        believed = any(isinstance(sort(one, *self._ours), str) for one in seen.sightings)
        self._in_vain = 0 if believed else self._in_vain + 1
        return seen

    def _tend(self) -> None:
        try:
            self._client.tend()
        except OutboxError as error:
            self._tell_once("outbox", str(error))

    def _fault(self, kind: str, words: str) -> None:
        self.counts.unread += 1
        self._tell_once(kind, words)

    def _tell_once(self, kind: str, words: str) -> None:
        if kind not in self._faults:
            self._faults.add(kind)
            self._also.words(words)

    def _sorted(self, at: datetime, found: str | Foreign) -> None:
        if isinstance(found, Foreign):
            self.counts.foreign[found.kind] += 1
            self._also.foreign(at, found)
        else:
            self._scan(at, found)

    def _scan(self, at: datetime, code: str) -> None:
        scan = {"id": new_id(), "station": self._station, "code": code, "seen_at": at.isoformat()}
        self.counts.scans += 1
        try:
            verdict = self._client.scan(scan)
        except OutboxError as error:
            self.counts.not_taken += 1
            verdict = Verdict(NOT_TAKEN, "Not taken: this scan is not kept.", str(error), "Write it down on paper.")
        self.counts.answered = self._client.answered
        self.tell_late()
        self._told(at, code, verdict)
        try:
            if warning := self._client.fills():
                self._also.words(warning)
            if code.startswith("B-") and verdict.verdict != "stop":
                self._tell_untold()
        except OutboxError as error:
            self._tell_once("outbox", str(error))

    def tell_late(self) -> None:
        """Tell of the answers that came after their time."""
        for scan, verdict in self._client.take_late():
            self.counts.answered = self._client.answered
            self._told(datetime.fromisoformat(scan["seen_at"]), scan["code"], verdict)

    def _tell_untold(self) -> None:
        """Tell whoever signs on what was refused, or answered late with other than go; then it has been told."""
        untold = self._client.untold()
        if not untold:
            return
        self._also.words(f"scans made without the service that need you: {len(untold)}")
        for scan, verdict in untold:
            self._told(datetime.fromisoformat(scan["seen_at"]), scan["code"], verdict)
        self._client.told()
