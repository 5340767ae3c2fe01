"""Who asks: a person who signed in, or a device that was enrolled."""

from dataclasses import dataclass, field

from service.custody.rules.roles import MAY

MONITOR = "monitor"
"""What a device is enrolled for that reads the service's numbers and stands at no station."""


@dataclass(frozen=True, slots=True)
class Who:
    """Somebody, or something, that the service let in."""

    badge: str | None = None
    roles: frozenset[str] = frozenset()
    device: str | None = None
    stations: frozenset[str] = field(default_factory=frozenset)
    """The kinds of station a device may stand at; empty for any."""

    def may(self, action: str) -> bool:
        """Whether the table of roles allows a person this; a device scans, and nothing else."""
        return bool(self.roles & MAY[action])

    def may_stand_at(self, station: str) -> bool:
        """Whether scans of this station may come from here. The badge scanned there says who is working."""
        if self.device:
            return not self.stations or station.rsplit("-", 1)[0] in self.stations
        return self.may("sign on")

    @property
    def monitors(self) -> bool:
        """Whether the service's numbers may be told: to a person, or to a device enrolled for nothing else."""
        return not self.device or MONITOR in self.stations
