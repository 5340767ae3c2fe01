"""UUID version 7 (RFC 9562): the time first, so that ids sort as they were made."""

import re

_LARGEST_MS = (1 << 48) - 1
_FORM = re.compile("[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")


def uuid7(unix_ms: int, rand: bytes) -> str:
    """The UUID v7 of a time in milliseconds since 1970 and ten random bytes. Raises ValueError outside 48 bits."""
    if not 0 <= unix_ms <= _LARGEST_MS or len(rand) != 10:
        raise ValueError("a UUID v7 takes a time of 48 bits in milliseconds and ten random bytes")
    value = unix_ms << 80 | int.from_bytes(rand, "big")
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    text = f"{value:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def is_uuid(text: str) -> bool:
    """Whether `text` is a UUID in the usual form of 36 characters, lower case."""
    return _FORM.fullmatch(text) is not None
