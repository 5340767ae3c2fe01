"""Light: a command of the practice's own, run with the verdict's word, for a lamp on a pin or a serial line."""

import contextlib
import shlex
import subprocess
import time
from collections.abc import Callable

LONGEST_S = 5.0
"""Seconds after which a command that still runs is ended."""
_MOST = 4


class Light:
    """Runs `command VERDICT` without a shell and never waits for it; what goes wrong is told once."""

    def __init__(self, command: str, tell: Callable[[str], None]) -> None:
        """Raises ValueError for a command that cannot be split into words."""
        self._words = shlex.split(command)
        if not self._words:
            raise ValueError("the light's command is empty")
        self._tell = tell
        self._told = False
        self._running: list[tuple[float, subprocess.Popen[bytes]]] = []

    def show(self, verdict: str) -> None:
        """Begin the command for this verdict; with too many still running, this one is left out."""
        self.look()
        if len(self._running) >= _MOST:
            self._fail("does not end in time")
            return
        try:
            begun = subprocess.Popen(  # noqa: S603  (the practice's own command, split into words, no shell)
                [*self._words, verdict], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
        except OSError as error:
            self._fail(f"does not start ({error.strerror})")
            return
        self._running.append((time.monotonic(), begun))

    def look(self) -> None:
        """See which commands have ended and how; end those that run too long. Call it often."""
        still = []
        for began, one in self._running:
            status = one.poll()
            if status is None and time.monotonic() - began > LONGEST_S:
                one.kill()
                one.wait()
                self._fail(f"ran for more than {LONGEST_S:.0f} s and was ended")
            elif status is None:
                still.append((began, one))
            elif status:
                self._fail(f"ended with status {status}")
        self._running = still

    def _fail(self, how: str) -> None:
        if not self._told:
            self._told = True
            self._tell(f"the light's command {self._words[0]} {how}: scanning goes on without it")

    def close(self) -> None:
        """Wait a moment for what still runs."""
        for _, one in self._running:
            with contextlib.suppress(subprocess.TimeoutExpired):
                one.wait(1)
        self.look()
