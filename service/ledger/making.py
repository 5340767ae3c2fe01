"""Files in the making: written under a scratch name, put in their place when whole."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service.ledger.store import LedgerError


@contextmanager
def scratch_beside(folder: Path, name: str) -> Iterator[Path]:
    """A path for a file in the making; whatever is left of it at the end is removed."""
    try:
        handle, made = tempfile.mkstemp(dir=folder, prefix=f".{name}.", suffix=".making")
    except OSError as error:
        raise LedgerError(f"{folder} cannot be written ({error.strerror}): check the folder and the disk") from error
    os.close(handle)
    scratch = Path(made)
    scratch.unlink()
    try:
        yield scratch
    finally:
        for part in ("", "-wal", "-shm"):
            Path(made + part).unlink(missing_ok=True)


def put(scratch: Path, target: Path) -> None:
    """Let a finished file take its place, on disk for good."""
    for path in (scratch, scratch.parent):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    scratch.replace(target)
