"""Misreads near the limit of legibility: many frames of the made corpus at amounts about where half is read.

`FRAMES=200000 python -m tests.bench legible` is the nightly run; without FRAMES it looks at two thousand. `FROM=100000`
begins at that frame, so that several processes can share the run. A label is seen in ten frames, as by a camera. Each
frame has the time that the scanner gives it, counted on the processor's clock, so that a busy machine looks no less
closely. What passes the check of our codes and was not printed is a misread; any other text is counted as foreign.
"""

import os
import sys
import time
from unittest import mock

import cv2
import numpy as np

from scanner.decode import ours, read
from scanner.watch import MOST_S
from tests.bench.rows import row
from tests.scanner import made

FIRST, FRAMES = int(os.environ.get("FROM", "0")), int(os.environ.get("FRAMES", "2000"))
ENOUGH = 200_000
OF_ONE = 10
"""Frames of one label."""
HARD = {
    "QR": {"module size": (0.8, 1.5), "defocus": (0.7, 1.4), "motion": (1.5, 3.5), "glare": (3, 30), "noise": (40, 200),
           "contrast": (2, 8), "occlusion": (8, 45), "torn": (2, 30), "stains": (8, 40), "crinkle": (0.2, 0.6),
           "void lines": (10, 60), "tape": (0.6, 0.9), "cylinder": (120, 178), "perspective": (50, 80)},
    "CODE128": {"module size": (0.5, 1.2), "defocus": (0.8, 2.0), "motion": (2, 4), "glare": (8, 30), "noise": (15, 160),
                "contrast": (3, 15), "occlusion": (8, 40), "torn": (1, 20), "stains": (15, 60), "crinkle": (0.4, 1.2),
                "void lines": (20, 80), "tape": (0.6, 0.9), "cylinder": (130, 188), "perspective": (50, 80)},
}  # fmt: skip
"""Amounts between which frames are drawn."""


def labels(first, count):
    """Frames and the code in them, label by label: (what was done to it, frames, code)."""
    for number in range(first // OF_ONE, -(-(first + count) // OF_ONE)):
        rng = np.random.default_rng([11, number])
        symbology = ("QR", "CODE128")[number % 2]
        damage = str(rng.choice(list(HARD[symbology])))
        amount = float(rng.uniform(*HARD[symbology][damage]))
        pictures, text = made.trembling(symbology, damage, amount, number, OF_ONE)
        yield f"{symbology} {damage} {amount:.2f}, label {number}", pictures, text


def run():
    frames = reads = misreads = foreign = 0
    cv2.setNumThreads(1)
    with mock.patch.object(time, "monotonic", time.process_time):
        for what, pictures, text in labels(FIRST, FRAMES):
            for picture in pictures:
                found = {(seen.text, seen.how, bool(ours(seen))) for seen in read(picture, MOST_S) if seen.text}
                wrong = [one for one in found if one[0] != text]
                frames, reads = frames + 1, reads + (len(found) > len(wrong))
                for other, how, is_ours in wrong:
                    misreads, foreign = misreads + is_ours, foreign + (not is_ours)
                    name = "misread" if is_ours else "foreign"
                    print(f"{name}: {what}: {other!r} for {text} ({how})", file=sys.stderr)
                if frames % 1000 == 0:
                    counts = f"{reads} reads, {misreads} misreads, {foreign} foreign texts"
                    print(f"{frames} frames, {counts}", file=sys.stderr)
    work = f"our codes near the limit ({frames} frames from {FIRST} on, {reads} reads, {foreign} foreign texts)"
    met = misreads == 0 and frames >= ENOUGH
    return [row(work, misreads, None, "misreads", f"0 misreads of {ENOUGH} frames", met, 0)]
