"""Bytes to text, and what may be printed of it."""

import codecs

from service.steam import cycle
from service.steam.cycle import CycleError

ENCODINGS = ("utf-8", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252")
LONGEST_LINE = 2000
"""Characters: no logger writes more, and a pattern is not tried on more."""


def refuse_size(size: int) -> None:
    """Raise CycleError for a file larger than a cycle's log can be, before anything of it is read."""
    if size > cycle.LARGEST:
        raise CycleError(f"the log has {size} bytes, more than {cycle.LARGEST}: send one cycle, not a month")


def text_of(data: bytes, encoding: str | None = None) -> str:
    """The text of a log, its lines ended by LF: UTF-8, UTF-16 that begins with its mark, or as the mapping says.

    Raises CycleError.
    """
    refuse_size(len(data))
    marked = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    name = encoding or ("utf-16" if marked else "utf-8")
    try:
        text = data.decode(name).removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        raise CycleError(
            f"the log is not {name.upper()} text (byte {error.start}): export it as CSV in UTF-8, or name its encoding "
            f"in a mapping"
        ) from error
    if "\0" in text:
        raise CycleError("the log holds NUL characters: export it as CSV in UTF-8, or name its encoding in a mapping")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def shown(cell: str) -> str:
    """A cell as it may be printed: quoted, on one line, short, and no formula for whoever pastes it."""
    return repr(cell[:30])
