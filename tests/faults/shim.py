"""The shim, compiled once a run where a C compiler is."""

import shutil
import subprocess
from pathlib import Path


class Shim:
    """A disk and a clock that misbehave on command."""

    def __init__(self, folder):
        self._told, library = folder / "told", folder / "shim.so"
        source = Path(__file__).with_name("shim.c")
        subprocess.run(
            [compiler(), "-shared", "-fPIC", "-O1", "-o", library, source, "-ldl"], check=True, capture_output=True
        )
        self.set()
        self.env = {"LD_PRELOAD": str(library), "FOLDMARK_SHIM": str(self._told)}

    def set(self, *, delay_ms=0, fail=False, off_s=0):
        fresh = self._told.with_suffix(".new")
        fresh.write_text(f"{delay_ms} {int(fail)} {off_s}\n")
        fresh.replace(self._told)


def compiler():
    return shutil.which("cc") or shutil.which("gcc")
