"""An act: a scan as its station understood it, complete enough for the rules to decide on."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from service.custody.facts import Fact


@dataclass(frozen=True, slots=True)
class Act:
    """What somebody is about to do. `confirmed` names the questions answered YES so far."""

    does: str
    at: str
    site: str
    station: str
    by: str | None = None
    set: str | None = None
    pack: str | None = None
    load: str | None = None
    patient: str | None = None
    data: Mapping[str, Any] = field(default_factory=dict)
    confirmed: frozenset[str] = frozenset()

    def fact(self, kind: str, data: dict[str, Any] | None = None, **keys: str | None) -> Fact:
        """A fact of this act: its keys are the act's unless given."""
        return Fact(
            kind=kind,
            at=self.at,
            site=self.site,
            station=self.station,
            by=keys.get("by", self.by),
            set=keys.get("set", self.set),
            pack=keys.get("pack", self.pack),
            load=keys.get("load", self.load),
            patient=keys.get("patient", self.patient),
            data=data or {},
        )

    @property
    def why(self) -> str | None:
        reason = self.data.get("why")
        return str(reason) if reason else None
