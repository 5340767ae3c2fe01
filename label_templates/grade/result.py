"""What grading says of a symbol."""

from dataclasses import asdict, dataclass
from typing import Any

from label_templates.grade.limits import Limit, letter

NOTES = (
    "A check by software on a picture that nothing was calibrated for, not a verification by an ISO instrument.",
    "Reflectance is relative: grey levels as they are, white = the lightest place of the symbol.",
)


@dataclass(frozen=True, slots=True)
class Parameter:
    """One thing measured. `grade` is 0 to 4 in tenths, None for what is told and not graded."""

    name: str
    value: float | None
    unit: str
    grade: float | None
    limit: str
    source: str
    advice: str = ""

    @property
    def letter(self) -> str:
        return "" if self.grade is None else letter(self.grade)


@dataclass(frozen=True, slots=True)
class Grade:
    """A symbol's grade: `number` 0 to 4 in tenths, by the worst of its parameters. `corners` are 4 points in pixels."""

    text: str
    symbology: str
    number: float
    edition: str
    parameters: tuple[Parameter, ...]
    corners: tuple[tuple[float, float], ...]
    pixels_per_module: float
    notes: tuple[str, ...] = NOTES

    @property
    def letter(self) -> str:
        return letter(self.number)

    @property
    def shown(self) -> str:
        """The text as it can be shown: shortened, and a dot for what is no sign."""
        signs = "".join(sign if sign.isprintable() else "·" for sign in self.text[:49])
        return signs[:48] + "…" if len(signs) > 48 else signs

    @property
    def advice(self) -> tuple[str, ...]:
        """What to do, each once, the worst parameter's first."""
        told = sorted((one for one in self.parameters if one.advice), key=lambda one: _rank(one.grade))
        return tuple(dict.fromkeys(one.advice for one in told))

    def to_json(self) -> dict[str, Any]:
        found = asdict(self)
        for told, one in zip(found["parameters"], self.parameters, strict=True):
            told["letter"] = one.letter or None
        return {"text": self.text, "symbology": self.symbology, "letter": self.letter} | found


def held(limit: Limit, value: float, *, grade: float | None = None, advice: str = "") -> Parameter:
    """A value held against its limit; a `grade` given is kept, a mean of several. Advice is for below A only."""
    number = limit.grade(value) if grade is None else grade
    told = advice if letter(number) != "A" else ""
    return Parameter(limit.name, round(float(value), 3) + 0.0, limit.unit, number, str(limit), limit.source, told)


def _rank(grade: float | None) -> float:
    return 5 if grade is None else grade
