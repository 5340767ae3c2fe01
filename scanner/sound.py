"""Sound: a tone of its own for each verdict, made here, played where there is something to play it."""

import contextlib
import io
import shutil
import subprocess
import sys
import wave
from functools import lru_cache

import numpy as np

RATE = 16_000
TONES: dict[str, tuple[tuple[int, float], ...]] = {
    "go": ((880, 0.09),),
    "ask": ((660, 0.09), (0, 0.05), (660, 0.09)),
    "stop": ((330, 0.16), (0, 0.05), (247, 0.32)),
    "not taken": ((247, 0.3), (0, 0.08), (247, 0.3), (0, 0.08), (247, 0.3)),
    "not checked": ((440, 0.06), (0, 0.06), (440, 0.06), (0, 0.06), (440, 0.06)),
}
"""Verdict → (hertz, seconds); 0 Hz is silence. Higher is good news, falling is bad, three short is no news, three long
and low is lost."""


@lru_cache
def wav(verdict: str) -> bytes:
    """The tone of a verdict as a WAV file, 16 bits, mono."""
    parts = []
    for hertz, seconds in TONES[verdict]:
        t = np.arange(int(RATE * seconds)) / RATE
        fade = np.minimum(1, np.minimum(t, t[::-1]) / 0.008)
        parts.append(np.sin(2 * np.pi * hertz * t) * fade * 0.5)
    samples = (np.concatenate(parts) * 32767).astype("<i2")
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(samples.tobytes())
    return file.getvalue()


class Sound:
    """Plays tones with `aplay` where it is, or rings the terminal's bell; says nothing where there is neither."""

    def __init__(self, *, mute: bool = False) -> None:
        self._player = None if mute else shutil.which("aplay")
        self._playing: subprocess.Popen[bytes] | None = None
        self._bell = not mute and self._player is None and sys.stderr.isatty()

    def play(self, verdict: str) -> None:
        """Begin the tone of a verdict, ending one that still plays; the scanner does not wait for it."""
        if self._player:
            if self._playing:
                self._playing.kill()
                self._playing.wait()
            self._playing = subprocess.Popen(  # noqa: S603  (a fixed program, found on the path)
                [self._player, "-q", "-"], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
            with contextlib.suppress(BrokenPipeError), self._playing.stdin or io.BytesIO() as pipe:
                pipe.write(wav(verdict))
        elif self._bell:
            sys.stderr.write("\a" * (1 if verdict == "go" else 2))
            sys.stderr.flush()
