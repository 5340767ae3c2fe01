"""Choice: which of the labels in view is meant. Places and times of labels, no picture."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scanner.decode import Sighting
from scanner.track import longest_side

_IN_VIEW_S = 0.3
"""Seconds for which a label that one frame missed is still taken to be there."""
_STILL_S = 0.2
"""Seconds without a move after which a label is held still."""
_UNDECIDED_S = 1.0
"""Seconds that labels which came together have to become still."""
_BESIDE_S = 0.5
"""A label that comes within this many seconds of another one's scan came with it."""
_MOVED = 1 / 3
"""A move, as a share of the symbol's longest side: more than a hand trembles."""
_NEARER = 0.5
"""The meant label's distance from the centre is less than this share of any other's."""


@dataclass(slots=True, eq=False)
class _Label:
    """A label in view: where its symbols rest, when it came, moved and was seen last, and what became of it."""

    code: str
    came_s: float
    moved_s: float
    seen_s: float = 0.0
    rests: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    centre: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))
    told_s: float | None = None
    size: float = 0.0
    """Pixels along the longest side of its symbols."""
    passed: bool = False
    """Another one was meant. It is looked at again when it moves."""
    lost_to: str = ""
    """The code of that one."""

    @property
    def told(self) -> bool:
        return self.told_s is not None


@dataclass(slots=True)
class Choice:
    """Of labels that came into view together the one that is meant: nearest the centre, and held still.

    A label that lies in view from before, told or passed over, is no rival of one that comes. A label alone needs not
    be still.
    """

    labels: dict[str, _Label] = field(default_factory=dict)
    _asked: set[frozenset[str]] = field(default_factory=set)

    def feed(
        self, at_s: float, seen: Mapping[str, list[Sighting]], believed: Iterable[str], middle: NDArray[np.float64]
    ) -> tuple[list[str], bool]:
        """The codes to tell at this frame, and whether to ask because two labels are meant as much as each other.

        `seen` has every code this frame shows, `believed` those of all codes in view that may be told, `middle` is the
        frame's centre (x, y in pixels).
        """
        for code, sightings in seen.items():
            self._place(at_s, code, sightings)
        waiting = [self.labels[code] for code in believed if not self.labels[code].told]
        told, asked = [], False
        for label in sorted(waiting, key=lambda one: (_distance(one, middle), one.code)):
            if label.passed or at_s - label.seen_s > _IN_VIEW_S:
                continue
            rivals = [other for other in self.labels.values() if _rival(other, label, at_s)]
            meant = _meant([label, *rivals], at_s, middle) if rivals else label
            if meant is label:
                label.told_s = at_s
                told.append(label.code)
                for other in rivals:
                    other.passed, other.lost_to = True, label.code
            elif meant:
                label.passed, label.lost_to = meant.told, meant.code
            elif _settled([label, *rivals], at_s):
                group = frozenset(one.code for one in (label, *rivals))
                asked |= group not in self._asked
                self._asked.add(group)
        return told, asked

    def stay(self, at_s: float) -> None:
        """What was in view still is at `at_s`: nothing has changed since."""
        for label in self.labels.values():
            label.seen_s = at_s

    def forget(self, codes: set[str]) -> None:
        """These codes are out of view."""
        for code in codes & self.labels.keys():
            del self.labels[code]
        self._asked = {group for group in self._asked if not group & codes}

    def _place(self, at_s: float, code: str, sightings: list[Sighting]) -> None:
        label = self.labels.setdefault(code, _Label(code, at_s, at_s))
        label.seen_s = at_s
        label.size = max(longest_side(seen.corners) for seen in sightings)
        label.centre = np.mean([seen.corners.mean(axis=0) for seen in sightings], axis=0)
        for seen in sightings:
            centre = seen.corners.mean(axis=0)
            rest = label.rests.setdefault(seen.symbology, centre)
            if np.linalg.norm(centre - rest) > _MOVED * longest_side(seen.corners):
                label.rests[seen.symbology] = centre
                label.moved_s = at_s
                if label.passed:
                    label.came_s, label.passed = at_s, False


def _distance(label: _Label, middle: NDArray[np.float64]) -> float:
    return float(np.linalg.norm(label.centre - middle))


def _rival(other: _Label, label: _Label, at_s: float) -> bool:
    if other is label or other.passed:
        return False
    if other.told_s is None:
        return at_s - other.seen_s <= _IN_VIEW_S
    return other.seen_s == at_s and (label.moved_s - other.told_s < _BESIDE_S or label.lost_to == other.code)


def _still(label: _Label, at_s: float) -> bool:
    return at_s - label.moved_s >= _STILL_S


def _settled(labels: list[_Label], at_s: float) -> bool:
    """Whether nothing is to be waited for: all are still, or have had their time."""
    return all(_still(one, at_s) for one in labels) or at_s - max(one.came_s for one in labels) > _UNDECIDED_S


def _meant(labels: list[_Label], at_s: float, middle: NDArray[np.float64]) -> _Label | None:
    """The one clearly nearest the centre of those that are still; None while that is open."""
    if not _settled(labels, at_s):
        return None
    still = [one for one in labels if _still(one, at_s)] or labels
    near, *others = sorted(still, key=lambda one: _distance(one, middle))
    clear = all(_distance(near, middle) < _NEARER * _distance(other, middle) for other in others)
    return near if clear else None
