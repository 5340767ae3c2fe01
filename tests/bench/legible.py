"""Misreads near the limit of legibility: many frames of the made corpus at amounts about where half is read.

`FRAMES=200000 python -m tests.bench legible` is the nightly run, some hours; without FRAMES it looks at two thousand.
Every frame has a quarter of a second, and what passes the check of our codes and was not printed is a misread.
"""

import os
import sys

import numpy as np

from scanner.decode import ours, read
from tests.bench.rows import row
from tests.scanner import made

FRAMES = int(os.environ.get("FRAMES", "2000"))
ENOUGH = 200_000
BUDGET_S = 0.25
HARD = {
    "QR": {"module size": (0.8, 1.5), "defocus": (0.7, 1.4), "motion": (1.5, 3.5), "glare": (3, 30), "noise": (40, 200),
           "contrast": (2, 8), "occlusion": (8, 45), "torn": (2, 30), "stains": (8, 40), "crinkle": (0.2, 0.6),
           "void lines": (10, 60), "tape": (0.6, 0.9)},
    "CODE128": {"module size": (0.5, 1.2), "defocus": (0.8, 2.0), "motion": (2, 4), "glare": (8, 30), "noise": (15, 160),
                "contrast": (3, 15), "occlusion": (8, 40), "torn": (1, 20), "stains": (15, 60), "crinkle": (0.4, 1.2),
                "void lines": (20, 80), "tape": (0.6, 0.9)},
}  # fmt: skip
"""Amounts between which frames are drawn."""


def run():
    rng = np.random.default_rng(11)
    reads = misreads = 0
    for number in range(FRAMES):
        symbology = ("QR", "CODE128")[number % 2]
        damage = str(rng.choice(list(HARD[symbology])))
        amount = float(rng.uniform(*HARD[symbology][damage]))
        picture, text = made.trial(symbology, damage, amount, number)
        for seen in read(picture, BUDGET_S):
            code = ours(seen)
            reads += str(code) == text
            if code and str(code) != text:
                misreads += 1
                print(
                    f"misread: {symbology} {damage} {amount} frame {number}: {code} for {text} ({seen.how})",
                    file=sys.stderr,
                )
        if number % 1000 == 999:
            print(f"{number + 1} frames, {reads} reads, {misreads} misreads", file=sys.stderr)
    target = f"0 misreads of {ENOUGH} frames"
    met = misreads == 0 and FRAMES >= ENOUGH
    work = f"our codes near the limit ({FRAMES} frames, {reads} reads)"
    return [row(work, misreads, None, "misreads", target, met, 0)]
