"""Steady: from what each frame shows to one scan for each time a label is shown."""

from collections.abc import Iterable

AGREEING = 2
"""Frames that must show the same code before it is believed."""
GONE_S = 0.8
"""Seconds out of view after which the same code counts as shown again."""
TOGETHER_S = 1.0
"""Seconds within which agreeing frames must come."""


class Steady:
    """Believes a code when two frames agree, and tells of it once until it has been out of view."""

    def __init__(self, agreeing: int = AGREEING, gone_s: float = GONE_S) -> None:
        self._agreeing = agreeing
        self._gone_s = gone_s
        self._seen: dict[str, tuple[float, int]] = {}
        self._told: set[str] = set()

    def feed(self, at_s: float, codes: Iterable[str]) -> list[str]:
        """The codes newly believed at this frame, taken `at_s` seconds into the feed; each in the order first seen."""
        for code in [code for code, (last, _) in self._seen.items() if at_s - last > self._gone_s or at_s < last]:
            del self._seen[code]
            self._told.discard(code)
        new = []
        for code in dict.fromkeys(codes):
            last, count = self._seen.get(code, (at_s, 0))
            count = count + 1 if at_s - last <= TOGETHER_S else 1
            self._seen[code] = (at_s, count)
            if count >= self._agreeing and code not in self._told:
                self._told.add(code)
                new.append(code)
        return new
