"""What a field of a request may hold: a type for each kind of it, which checks it and documents it in one."""

import re
import unicodedata
from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    WithJsonSchema,
)
from pydantic import create_model as create

from label_templates import codes
from service.api.problems import refused
from service.custody.facts import FactError, moment
from service.ledger.ids import is_uuid
from service.stations.scan import STATION, TIME

NEEDED = ...
"""The default of a field that has none."""
WORDS = 300
"""The most characters of a reason, or of whatever else is typed."""
NAME = 100
"""The most characters of a name."""
UNSEEN = r"\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff"
"""Control characters, and those that turn the direction of text: nothing that anyone types on purpose."""
_SEEN = rf"^[^{UNSEEN}\u0020\u00a0][^{UNSEEN}]*$"
Told = TypeVar("Told")
Row = tuple[str, Any, Any]
"""A field: its name, its kind, its default."""


class Taken(BaseModel):
    """A body, a query or a path: exactly these fields, each of exactly its type."""

    model_config = ConfigDict(strict=True, extra="forbid")


def _seen(text: str) -> str:
    if found := re.search(f"[{UNSEEN}]", text):
        raise ValueError(f"it holds U+{ord(found.group()):04X}, which cannot be seen: type it again without")
    if text[0] in " \u00a0":
        raise ValueError("it begins with a space: begin with a letter or a number")
    return unicodedata.normalize("NFC", text)


def text(longest: int) -> Any:
    """Text that somebody typed: at least one character, none that cannot be seen."""
    document = {"type": "string", "minLength": 1, "maxLength": longest, "pattern": _SEEN}
    return Annotated[
        str, StringConstraints(min_length=1, max_length=longest), AfterValidator(_seen), WithJsonSchema(document)
    ]


def kept(check: Callable[[str], Any], longest: int, **document: Any) -> Any:
    """Text of a form of its own; `check` raises ValueError, in words, for any other."""

    def as_it_was(value: str) -> str:
        check(value)
        return value

    document = {"type": "string", "maxLength": longest} | document
    return Annotated[str, StringConstraints(max_length=longest), AfterValidator(as_it_was), WithJsonSchema(document)]


def code(*letters: str) -> Any:
    """One of our codes, of one of these kinds."""
    return kept(
        lambda value: codes.parse_as(value, *letters), codes.LONGEST,
        minLength=8, format=f"code-{''.join(letters)}",
        description=f"Of the shape {codes.shape_of(*letters)}, its last character the check by ISO 7064 MOD 37-2",
    )  # fmt: skip


def scanned(longest: int) -> Any:
    """Whatever a reader saw or somebody typed: the station understands it, or says why not."""
    return Annotated[str, StringConstraints(min_length=1, max_length=longest)]


def matching(pattern: re.Pattern[str], longest: int, words: str, **document: Any) -> Any:
    """Text that matches a pattern from its first to its last character."""

    def check(value: str) -> None:
        if not pattern.fullmatch(value):
            raise ValueError(words)

    return kept(check, longest, pattern=f"^(?:{pattern.pattern})$", **document)


def _integer(value: Any) -> Any:
    return int(value) if isinstance(value, float) and value.is_integer() else value


def whole(least: int, most: int) -> Any:
    """A whole number; JSON writes one as 2 or as 2.0."""
    return Annotated[int, Field(ge=least, le=most), BeforeValidator(_integer)]


def one_of(*values: str) -> Any:
    """One of these words."""
    return Literal[values]


def _id(value: str) -> None:
    if not is_uuid(value):
        raise ValueError("a UUID v7 made by the sender is needed, in lower case")


def _time(value: str) -> None:
    if not TIME.fullmatch(value):
        raise FactError(f"{value[:40]!r} is not an RFC 3339 time such as 2026-03-04T07:12:09.120Z")
    moment(value)


def _day(value: str) -> None:
    if len(value) != len("2026-03-06"):
        raise ValueError("a day is written 2026-03-06")
    date.fromisoformat(value)


Words = text(WORDS)
Name = text(NAME)
Lot = text(60)
Pin = Annotated[str, StringConstraints(min_length=1, max_length=64)]
NewPin = matching(re.compile("[0-9]{6,12}"), 12, "a PIN has 6 to 12 digits", format="new-pin")
Device = matching(re.compile("D[0-9a-f]{12}"), 13, "a device is named D and twelve letters and digits", format="device")
Badge, Load, SteamLoad = code("B"), code("L", "W"), code("L")
Machine = matching(
    re.compile("[LW]-[A-Z0-9]{2}-[1-9A-Z]"), 20, "a machine is named like the first part of its loads' codes, L-K7-1",
    format="machine-code",
)  # fmt: skip
Recall = matching(
    re.compile(rf"{codes.shape_of('L', 'W')[1:-1]}/[1-9][0-9]{{0,2}}"), 24,
    "a recall is named by its load and a number, L-K7-1-0331-K/1", format="recall-name",
)  # fmt: skip
Id = kept(_id, 36, format="uuid", pattern="^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")
Time = kept(_time, 40, format="date-time", pattern=f"^{TIME.pattern}$")
Day = kept(_day, 10, format="date", pattern="^[0-9]{4}-[0-9]{2}-[0-9]{2}$")
Station = matching(STATION, 20, "a station is a kind and a number, loading-1", format="station")
ENVELOPE: tuple[Row, ...] = (
    ("id", Id, NEEDED), ("by", Badge | None, None), ("pin", Pin | None, None), ("station", Station | None, None),
    ("seen_at", Time | None, None), ("sent_at", Time | None, None),
)  # fmt: skip
"""What every act carries besides its own fields."""
IN_PATHS: dict[str, Any] = {
    "badge": Badge, "machine": Machine, "set": code("S"), "patient": code("A"), "load": Load, "pack": code("P"),
    "recall": Recall, "code": code("S", "P", "L", "W", "B", "H", "A", "I"),
}  # fmt: skip
"""What stands in an act's path."""


class SheetLine(Taken):
    """A line of a count sheet."""

    group: Name
    line: Name
    count: whole(1, 999)  # type: ignore[valid-type]


class Mark(Taken):
    """How a set's instruments are told apart in a shared wash: a colour of tape, always with a pattern too."""

    colour: text(40)  # type: ignore[valid-type]
    pattern: text(40)  # type: ignore[valid-type]


def model(name: str, rows: tuple[Row, ...]) -> type[Taken]:
    """A form for these fields."""
    fields: dict[str, Any] = {field: (kind, default) for field, kind, default in rows}
    return create(name, __base__=Taken, **fields)


def taken(form: type[Taken], told: dict[str, Any]) -> dict[str, Any]:
    """The fields of `form` from what was told, defaults filled in. Raises Problem naming the field."""
    try:
        return form.model_validate(told).model_dump()
    except ValidationError as error:
        raise refused(error.errors(), ", ".join(form.model_fields) or "no fields") from error


def schema(form: type[Taken]) -> dict[str, Any]:
    """The JSON Schema of a form, all in one piece."""
    return _inlined(form.model_json_schema())


def _inlined(found: Any, parts: dict[str, Any] | None = None) -> Any:
    if isinstance(found, list):
        return [_inlined(one, parts) for one in found]
    if not isinstance(found, dict):
        return found
    parts = parts or found.get("$defs", {})
    if "$ref" in found:
        return _inlined(parts[found["$ref"].rsplit("/", 1)[-1]], parts)
    hidden = {"$defs", "title"}
    return {
        key: {name: _inlined(one, parts) for name, one in value.items()}
        if key == "properties"
        else _inlined(value, parts)
        for key, value in found.items()
        if key not in hidden
    }
