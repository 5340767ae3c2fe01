"""Alive: what systemd is told of a scanner (sd_notify(3)): that it is ready, and each while that it still works."""

import os
import socket
import time


def notify(state: str) -> bool:
    """Send one state to systemd, as `READY=1`. False where no systemd asked for it."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return False
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        try:
            line.sendto(state.encode(), f"\0{address[1:]}" if address.startswith("@") else address)
        except OSError:
            return False
    return True


class Alive:
    """Says `WATCHDOG=1` at half the time that systemd waits for it, as sd_watchdog_enabled(3) advises."""

    def __init__(self) -> None:
        self._every_s = int(os.environ.get("WATCHDOG_USEC") or 0) / 2e6
        self._due = 0.0

    def turn(self) -> None:
        """Call this at every turn of the work: when the work hangs, nothing is said, and systemd starts it anew."""
        if self._every_s and time.monotonic() >= self._due:
            self._due = time.monotonic() + self._every_s
            notify("WATCHDOG=1")
