"""Showing: when a code is believed, and when it counts as shown again. Time and reads alone, no picture."""

from collections.abc import Mapping

AGREEING = 2
"""Independent reads of one code before it is believed."""
GONE_S = 0.8
"""Seconds out of view after which the same code counts as shown again."""
TOGETHER_S = 1.0
"""Seconds within which agreeing reads must come."""


class Showings:
    """The codes in view. Each is believed once for each time it is shown."""

    def __init__(self, agreeing: int = AGREEING, gone_s: float = GONE_S) -> None:
        self._agreeing = agreeing
        self._gone_s = gone_s
        self._seen: dict[str, tuple[float, int]] = {}
        self.believed: set[str] = set()

    def feed(self, at_s: float, reads: Mapping[str, int]) -> list[str]:
        """The codes newly believed at this frame, taken `at_s` seconds into the feed, in the order of `reads`.

        `reads` says how many reads independent of each other this frame gave of each code it shows.
        """
        self.let_go(at_s)
        new = []
        for code, more in reads.items():
            last, before = self._seen.get(code, (at_s, 0))
            count = more + (before if at_s - last <= TOGETHER_S else 0)
            self._seen[code] = (at_s, count)
            if count >= self._agreeing and code not in self.believed:
                self.believed.add(code)
                new.append(code)
        return new

    def let_go(self, at_s: float) -> set[str]:
        """Forget the codes that are out of view at `at_s`, and say which."""
        gone = {code for code, (last, _) in self._seen.items() if at_s - last > self._gone_s or at_s < last}
        self._seen = {code: seen for code, seen in self._seen.items() if code not in gone}
        self.believed -= gone
        return gone

    def stay(self, at_s: float) -> None:
        """What was in view still is at `at_s`: nothing has changed since."""
        self._seen = {code: (at_s, count) for code, (_, count) in self._seen.items()}
