"""Why a step is refused. Each refusal's docstring is what a person reads: what is so, why, and what to do next."""

import re
from typing import Any, ClassVar


class Refusal(Exception):  # noqa: N818  (the practice says refusal, not error)
    """A rule said no.

    The docstring of each rule has three paragraphs: the headline, the reason, the next right step.
    """

    verdict: ClassVar[str] = "stop"
    overridable: ClassVar[bool] = False
    needs_reason: ClassVar[bool] = False
    reasons: ClassVar[tuple[str, ...]] = ()

    def __init__(self, **details: Any) -> None:
        paragraphs = re.split(r"\n\s*\n", (self.__doc__ or "").strip())
        headline, why, step = ([" ".join(p.split()) for p in paragraphs] + ["", ""])[:3]
        self.headline = headline.format(**details)
        self.why = why.format(**details)
        self.step = step.format(**details)
        super().__init__(self.headline)

    @property
    def rule(self) -> str:
        """The rule's name in the ledger, such as `not_released`."""
        return re.sub(r"(?<!^)(?=[A-Z])", "_", type(self).__name__).lower()


class Question(Refusal):
    """A step that goes on when somebody answers YES."""

    verdict = "ask"
