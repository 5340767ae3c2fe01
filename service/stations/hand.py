"""What a station has in hand: conversation, not history. Kept as JSON, so that it survives a restart."""

from dataclasses import dataclass, field, fields
from typing import Any

import orjson


@dataclass(slots=True)
class Hand:
    """One station's side of the conversation so far."""

    badge: str | None = None
    touched_at: str | None = None
    load: str | None = None
    shelf: str | None = None
    case: str | None = None
    last_pack: str | None = None
    digits: str = ""
    step: str = ""
    """Which answer the station waits for beyond its usual scans; the station's module names its steps."""
    work: dict[str, Any] = field(default_factory=dict)
    """What the step has gathered: the count at packing, the surgeon of an override."""
    pending: dict[str, Any] | None = None
    """The scan a question stands against: its code, the questions answered so far, the rule asked about."""
    asked: list[str] = field(default_factory=list)
    """Packs asked about in theatre and not yet opened."""
    stopped: str | None = None
    """The pack last stopped in theatre by a rule that may be overridden."""
    strip_lot: str | None = None
    written: list[str] = field(default_factory=list)
    """The facts of this station's last scan, for UNDO."""
    late: dict[str, Any] | None = None
    """A late stop that nobody has acknowledged."""
    recent: list[dict[str, Any]] = field(default_factory=list)
    answer: dict[str, Any] | None = None

    def rest(self) -> None:
        """Forget the step in progress, and nothing else."""
        self.step, self.work, self.digits, self.pending = "", {}, "", None

    def as_json(self) -> str:
        return orjson.dumps({name: getattr(self, name) for name in _NAMES}).decode()

    @classmethod
    def from_json(cls, text: str | None) -> "Hand":
        return cls(**{key: value for key, value in orjson.loads(text).items() if key in _NAMES}) if text else cls()


_NAMES = tuple(f.name for f in fields(Hand))
