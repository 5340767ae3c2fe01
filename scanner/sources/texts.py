"""Hand scanners: lines typed like a keyboard's, or sent over a serial line. Each is a text that was read already."""

import os
import select
import sys
import termios
import time
from collections.abc import Callable, Iterator

from scanner.sources.live import PAUSES_S
from scanner.sources.source import Given, Source, SourceError, Text, Words, now

LONGEST = 8192
"""Bytes of a line; a QR code holds at most 7,089 digits (ISO/IEC 18004, version 40-L)."""
QUIET_S = 0.2
"""Seconds of silence that end a text of a serial scanner that sends no line end."""
_TICK_S = 0.5
BAUDS = {int(name[1:]): value for name, value in vars(termios).items() if name[0] == "B" and name[1:].isdecimal()}


class Lines(Source):
    """Texts from a file descriptor, a line each; at its end the source ends, or is opened `again`."""

    live = True

    def __init__(self, name: str, opened: Callable[[], int], *, again: bool, quiet_s: float | None = None) -> None:
        self._name, self._opened, self._again, self._quiet_s = name, opened, again, quiet_s
        self._fd: int | None = opened()
        self._stopping = False

    def __iter__(self) -> Iterator[Given]:
        attempts = 0
        while not self._stopping:
            if self._fd is not None:
                yield from self._texts(self._fd)
                if not self._again or self._stopping:
                    return
                os.close(self._fd)
                self._fd = None
                yield Words(f"{self._name} is gone: check the cable. It is opened again as soon as it is there")
            yield None
            time.sleep(PAUSES_S[min(attempts, len(PAUSES_S) - 1)])
            attempts += 1
            try:
                self._fd = self._opened()
            except SourceError:
                continue
            attempts = 0
            yield Words(f"{self._name} is back")

    def _texts(self, fd: int) -> Iterator[Given]:
        held = b""
        while not self._stopping:
            wait = self._quiet_s if held and self._quiet_s else _TICK_S
            if not select.select([fd], [], [], wait)[0]:
                if held and self._quiet_s:
                    yield from _lines([held])
                    held = b""
                yield None
                continue
            try:
                piece = os.read(fd, 4096)
            except OSError:
                piece = b""
            if not piece:
                yield from _lines([held])
                return
            *whole, held = (held + piece).replace(b"\r", b"\n").split(b"\n")
            yield from _lines(whole)
            if len(held) > LONGEST:
                yield from _lines([held])
                held = b""

    def close(self) -> None:
        self._stopping = True


def _lines(found: list[bytes]) -> Iterator[Text]:
    for line in found:
        if text := line.decode("utf-8", "replace").strip(" \t"):
            yield Text(text, now())


def keys() -> Lines:
    """What a keyboard-wedge scanner types into this program."""
    try:
        fd = sys.stdin.fileno()
    except (OSError, ValueError) as error:
        raise SourceError("there is no keyboard here: run this in a terminal, or give it a file of lines") from error
    return Lines("the keyboard", lambda: fd, again=False)


def serial(spec: str) -> Lines:
    """A serial scanner, `/dev/ttyUSB0` or with its pace `/dev/ttyUSB0@9600`. Raises SourceError."""
    path, _, pace = spec.partition("@")
    if pace and not (pace.isdecimal() and int(pace) in BAUDS):
        usual = ", ".join(str(baud) for baud in (9600, 19200, 38400, 57600, 115200))
        raise SourceError(f"serial:{spec} names no pace there is: use one of {usual}")
    baud = BAUDS[int(pace or 9600)]
    return Lines(f"the scanner at {path}", lambda: _open_line(path, baud), again=True, quiet_s=QUIET_S)


def _open_line(path: str, baud: int) -> int:
    """Open a serial line: raw, 8 data bits, no parity, one stop bit, no flow control."""
    try:
        fd = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError as error:
        raise SourceError(f"{path} does not open ({error.strerror}): check the cable, and the group dialout") from error
    try:
        modes = termios.tcgetattr(fd)
        modes[0] = termios.IGNBRK
        modes[1] = modes[3] = 0
        modes[2] = termios.CS8 | termios.CREAD | termios.CLOCAL
        modes[4] = modes[5] = baud
        modes[6][termios.VMIN], modes[6][termios.VTIME] = 1, 0
        termios.tcsetattr(fd, termios.TCSANOW, modes)
        termios.tcflush(fd, termios.TCIFLUSH)
    except termios.error as error:
        os.close(fd)
        raise SourceError(f"{path} is no serial line: name one such as /dev/ttyUSB0") from error
    return fd
