"""Files written whole or not at all."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from service.cli.open import fail


@contextmanager
def written(path: Path) -> Iterator[BinaryIO]:
    """A binary file that takes the place of `path` when the block ends well; otherwise `path` stays as it was."""
    handle, scratch = -1, ""
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.chmod(scratch, 0o644)  # noqa: PTH101
        Path(scratch).replace(path)
    except OSError as error:
        raise fail(
            f"{path} cannot be written ({error.strerror}): check the folder and the space on the disk"
        ) from error
    finally:
        if scratch:
            Path(scratch).unlink(missing_ok=True)
