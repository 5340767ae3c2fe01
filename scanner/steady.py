"""Steady: from what each frame shows to one scan for each time a label is shown, and a word where that fails."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from label_templates.codes import Code, is_code
from scanner.change import differs, small
from scanner.choice import Choice
from scanner.decode import Image, Sighting, ours, read
from scanner.fuse import Stack
from scanner.hints import hint
from scanner.showing import AGREEING, Showings
from scanner.track import Track, Tracks, longest_side

TWO_LABELS = "Two labels in view: hold one alone before the camera."
_HINT_S = 1.0
"""Seconds after which an unread region is told of."""
_LOOK_ON_S = 1.5
"""Seconds after a change for which every frame is looked at: time to agree, to fuse and to give a hint."""
_LOOK_AGAIN_S = 2.0
"""Seconds after which a still picture is looked at all the same."""
_FUSED_FROM = 3
"""Frames worth laying over each other."""
_ONE_LABEL = 0.6
"""Symbols nearer than this share of their longest sides together are on one label: a load card's are at 0.46."""

Gate = Callable[[Sighting], Code | str | None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a frame leads to: a `scan` of a code, or words for the hand: `ask` (which label?), `unread` (what to do)."""

    kind: Literal["scan", "ask", "unread"]
    code: str = ""
    words: str = ""


class Steady:
    """One camera's frames in, outcomes out.

    A code is believed when two independent reads of it agree: of two frames, or in one frame of two symbols or by two
    readers; or at one read of a QR code that is `clean`. A patient's wristband has no check of ours, and wants two
    frames. `gate` says what a sighting may be believed to be (a code, a wristband's text, or None), and `read`
    reads the picture fused from several frames of a region that no single one gives.
    """

    def __init__(self, gate: Gate = ours, read: Callable[[Image], list[Sighting]] = read) -> None:
        self._gate = gate
        self._read = read
        self._showings = Showings()
        self._choice = Choice()
        self._tracks = Tracks()
        self._last: NDArray[np.float32] | None = None
        self._looked_s = self._changed_s = 0.0

    def wants(self, at_s: float, grey: Image) -> bool:
        """Whether a frame (8-bit grey), `at_s` seconds into the feed, is to be read and fed.

        Otherwise it shows what the one before showed, and what was in view counts as still there.
        """
        now = small(grey)
        if self._last is None or at_s < self._looked_s or differs(now, self._last):
            self._changed_s = at_s
        if at_s - self._changed_s > _LOOK_ON_S and at_s - self._looked_s < _LOOK_AGAIN_S:
            for keeper in (self._showings, self._choice, self._tracks):
                keeper.stay(at_s)
            return False
        self._last, self._looked_s = now, at_s
        return True

    def feed(
        self, at_s: float, grey: Image, sightings: Iterable[Sighting], unread: Iterable[NDArray[np.float64]] = ()
    ) -> list[Outcome]:
        """What this frame leads to. `unread`: corners (4 × 2, pixels) of regions seen and not read, likeliest first."""
        self._choice.forget(self._showings.let_go(at_s))
        tracks = self._tracks.feed(at_s, grey, [region for region in unread if not self._told_beside(region)])
        seen: dict[str, list[Sighting]] = {}
        votes: dict[str, int] = {}
        for sighting in [*sightings, *(found for track in tracks for found in self._fused(track))]:
            if code := self._gate(sighting):
                seen.setdefault(str(code), []).append(sighting)
                votes[str(code)] = _votes(seen[str(code)], wristband=not is_code(str(code)))
        self._showings.feed(at_s, votes)
        middle = np.array(grey.shape[1::-1]) / 2
        told, unclear = self._choice.feed(at_s, seen, self._showings.believed, middle)
        outcomes = [Outcome("scan", code=code) for code in told]
        if unclear:
            outcomes.append(Outcome("ask", words=TWO_LABELS))
        return outcomes + self._hints(at_s, grey, tracks)

    def _told_beside(self, region: NDArray[np.float64]) -> bool:
        """Whether a region is the other symbol of a label that is believed already."""
        return any(_beside(region, label.centre, label.size) for label in self._choice.labels.values() if label.told)

    def _fused(self, track: Track) -> list[Sighting]:
        """What a region's frames give together. Those that gave a text are used up: the next are independent."""
        count = len(track.stack.crops)
        if count < _FUSED_FROM or track.looks % 2:
            return []
        for picture in track.stack.pictures():
            found = [
                replace(one, corners=track.stack.in_frame(one.corners), how=f"{count} frames, {one.how}", clean=False)
                for one in self._read(picture)
            ]
            if any(self._gate(one) for one in found):
                track.stack = Stack()
                return found
        return []

    def _hints(self, at_s: float, grey: Image, tracks: list[Track]) -> list[Outcome]:
        """One hint for what has been in view for long enough and is not read, told once for each time it is shown."""
        labels = self._choice.labels.values()
        for track in tracks:
            known = any(_beside(track.corners, label.centre, label.size) for label in labels)
            if not known and not track.hinted and at_s - track.came_s >= _HINT_S:
                for other in self._tracks.now:
                    other.hinted = True
                return [Outcome("unread", words=hint(grey, track.corners))]
        return []


def _votes(sightings: list[Sighting], *, wristband: bool) -> int:
    """The independent reads that one frame's sightings of one text are."""
    if wristband:
        return 1
    if any(seen.clean for seen in sightings):
        return AGREEING
    return len({(seen.symbology, seen.how) for seen in sightings})


def _beside(region: NDArray[np.float64], centre: NDArray[np.float64], size: float) -> bool:
    return bool(np.linalg.norm(region.mean(axis=0) - centre) < _ONE_LABEL * (size + longest_side(region)))
