"""Wanted: the options of `foldmark scan`, and what they come to."""

import re
from dataclasses import dataclass
from typing import Any

from service.cli.open import fail


@dataclass(slots=True)
class Wanted:
    """The options as they were given."""

    station: str
    source: str
    url: str
    enrol_code: str | None
    site: str | None
    patient_pattern: str | None
    size: str
    focus: int | None
    exposure: int | None
    preview: int | None
    mute: bool
    light: str | None
    as_json: bool
    log: bool
    outbox: str | None
    patience: float
    check: bool
    seconds: float
    pending: bool
    install: str | None

    @property
    def outbox_path(self) -> str:
        return self.outbox or f"outbox-{self.station}.db"

    def opened(self) -> Any:
        """The source. Raises SourceError, or ClickException for a size or a site that is none."""
        from scanner.frames import Wish, open_source  # noqa: PLC0415  (OpenCV takes its time)

        size = re.fullmatch(r"([1-9]\d{1,4})[x×]([1-9]\d{1,4})", self.size)
        if not size:
            raise fail(f"--size {self.size!r} is no size: give it as 1280x720")
        if self.site and not re.fullmatch("[A-Z0-9]{2}", self.site):
            raise fail(f"--site {self.site!r} is no site: it has two characters, such as K7")
        return open_source(self.source, wish=Wish(int(size[1]), int(size[2]), focus=self.focus, exposure=self.exposure))
