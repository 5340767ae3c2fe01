"""IPP messages as bytes and back (RFC 8010): our own, as pyipp cannot write a collection, and so ask for no size."""

import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

OPERATION, JOB, END, PRINTER, UNSUPPORTED = 0x01, 0x02, 0x03, 0x04, 0x05
"""Tags that begin a group of attributes, or end them: RFC 8010 3.5.1."""
INTEGER, BOOLEAN, ENUM, RESOLUTION, RANGE, COLLECTION, END_COLLECTION = 0x21, 0x22, 0x23, 0x32, 0x33, 0x34, 0x37
NAME, KEYWORD, URI, CHARSET, LANGUAGE, MIME, MEMBER = 0x42, 0x44, 0x45, 0x47, 0x48, 0x49, 0x4A
"""Tags of values: RFC 8010 3.5.2."""
_NUMBERS: Final = {INTEGER: ">i", ENUM: ">i", BOOLEAN: ">?", RANGE: ">ii"}
_WITH_LANGUAGE: Final = (0x35, 0x36)
_VERSION: Final = (1, 1)
"""RFC 8011 is IPP/1.1, which printers of later versions speak too."""
_INCH, _CENTIMETRE = 3, 4


class MessageError(ValueError):
    """Bytes that are no IPP message."""


@dataclass(frozen=True, slots=True)
class Tagged:
    """What an attribute is set to: one value, or several of one kind. A collection is a mapping of them."""

    tag: int
    value: Any


@dataclass(frozen=True, slots=True)
class Answer:
    """A message read. Each attribute is a list of values: int, bool, str, bytes, dict, or a tuple of ints.

    A resolution is dots per inch across and along, a range its lower and upper end.
    """

    code: int
    groups: tuple[tuple[int, dict[str, list[Any]]], ...]

    def group(self, tag: int) -> list[dict[str, list[Any]]]:
        """All groups of that tag, in order."""
        return [attributes for found, attributes in self.groups if found == tag]


def encode(code: int, number: int, groups: Sequence[tuple[int, Mapping[str, Tagged]]]) -> bytes:
    """The message of this operation or status `code`; what follows it is the document, if any."""
    parts = [struct.pack(">BBHI", *_VERSION, code, number)]
    for tag, attributes in groups:
        parts.append(bytes([tag]))
        parts += [_attribute(name, tagged) for name, tagged in attributes.items()]
    return b"".join(parts) + bytes([END])


def _piece(tag: int, name: str, value: bytes) -> bytes:
    said = name.encode()
    return struct.pack(">BH", tag, len(said)) + said + struct.pack(">H", len(value)) + value


def _attribute(name: str, tagged: Tagged) -> bytes:
    values = tagged.value if isinstance(tagged.value, list) else [tagged.value]
    return b"".join(_value(tagged.tag, "" if index else name, value) for index, value in enumerate(values))


def _value(tag: int, name: str, value: Any) -> bytes:
    if tag == COLLECTION:
        members = b"".join(_piece(MEMBER, "", key.encode()) + _attribute("", one) for key, one in value.items())
        return _piece(COLLECTION, name, b"") + members + _piece(END_COLLECTION, "", b"")
    if tag == RESOLUTION:
        return _piece(tag, name, struct.pack(">iib", *value, _INCH))
    if tag in _NUMBERS:
        return _piece(tag, name, struct.pack(_NUMBERS[tag], *(value if isinstance(value, tuple) else [value])))
    return _piece(tag, name, value.encode())


def decode(data: bytes) -> tuple[Answer, bytes]:
    """The message at the beginning of `data`, and what follows it. Raises MessageError."""
    try:
        _, _, code, _ = struct.unpack_from(">BBHI", data)
        pieces = _Pieces(data, 8)
        groups = tuple(_groups(pieces))
    except (struct.error, IndexError, UnicodeDecodeError, RecursionError) as error:
        raise MessageError(f"this is no IPP message ({error})") from error
    return Answer(code, groups), data[pieces.at :]


class _Pieces:
    """The pieces (tag, name, value) of a message in turn; a tag of a group comes with neither."""

    def __init__(self, data: bytes, at: int) -> None:
        self._data, self.at = data, at

    def __iter__(self) -> "_Pieces":
        return self

    def __next__(self) -> tuple[int, str, bytes]:
        tag = self._data[self.at]
        self.at += 1
        return (tag, "", b"") if tag < 0x10 else (tag, self._text().decode(), self._text())

    def _text(self) -> bytes:
        (length,) = struct.unpack_from(">H", self._data, self.at)
        found = self._data[self.at + 2 : self.at + 2 + length]
        if len(found) < length:
            raise IndexError("it is cut off")
        self.at += 2 + length
        return found


def _groups(pieces: _Pieces) -> Iterator[tuple[int, dict[str, list[Any]]]]:
    tag, attributes, last = 0, dict[str, list[Any]](), ""
    for kind, name, value in pieces:
        if kind < 0x10:
            if tag:
                yield tag, attributes
            if kind == END:
                return
            tag, attributes, last = kind, {}, ""
        else:
            last = name or last
            attributes.setdefault(last, []).append(_read(kind, value, pieces))


def _read(tag: int, value: bytes, pieces: _Pieces) -> Any:
    if tag == COLLECTION:
        return _collection(pieces)
    if tag == RESOLUTION:
        across, along, unit = struct.unpack(">iib", value)
        inch = 2.54 if unit == _CENTIMETRE else 1
        return round(across * inch), round(along * inch)
    if tag in _NUMBERS:
        found = struct.unpack(_NUMBERS[tag], value)
        return found if len(found) > 1 else found[0]
    if tag in _WITH_LANGUAGE:
        value = value[4 + struct.unpack_from(">H", value)[0] :]
    return value.decode("utf-8", "replace") if tag in _WITH_LANGUAGE or 0x40 <= tag < 0x60 else value or None


def _collection(pieces: _Pieces) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    member = ""
    for tag, _, value in pieces:
        if tag == END_COLLECTION:
            break
        if tag < 0x10:
            raise IndexError("a collection has no end")
        if tag == MEMBER:
            member = value.decode()
        else:
            found.setdefault(member, []).append(_read(tag, value, pieces))
    return found


def lone(attributes: Mapping[str, list[Any]], name: str) -> Any:
    """The first value of an attribute; None where it is not there."""
    return (attributes.get(name) or [None])[0]
