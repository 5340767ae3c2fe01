"""Files written whole or not at all."""

import os
import tempfile
from pathlib import Path


def write_whole(path: Path, data: bytes) -> None:
    """Put `data` at `path`. An older file stays until the new one is whole on the disk. Raises OSError."""
    handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(scratch).chmod(0o644)
        Path(scratch).replace(path)
    finally:
        Path(scratch).unlink(missing_ok=True)
