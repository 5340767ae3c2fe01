"""An outside reading of a cycle log: plain Python, nothing of Foldmark's. F0 by the exact integral of each straight piece.

Of a straight rise from T1 to T2 in t minutes the integral of L = 10^((T − 121.1)/10) is (L2 − L1)·t·10 / ((T2 − T1)·ln 10):
the formula beside the published ramp values.
"""

import csv
import io
import itertools
import math

from iapws.iapws97 import _TSat_P


def readings(log):
    """Rows of seconds, °C and, where there is one, kPa."""
    rows = list(csv.reader(io.StringIO(log)))
    return [tuple(float(cell) for cell in row) for row in rows[1:]]


def f0(rows):
    total = 0.0
    for (t1, c1, *_), (t2, c2, *_) in itertools.pairwise(rows):
        l1, l2 = (10 ** ((c - 121.1) / 10) for c in (c1, c2))
        minutes = (t2 - t1) / 60
        total += l1 * minutes if c1 == c2 else (l2 - l1) * minutes * 10 / ((c2 - c1) * math.log(10))
    return total


def hold(rows, low, high):
    """Seconds of the longest run of readings within the band, and the rows at its ends."""
    best, start = (0.0, None, None), None
    for row in [*rows, (math.inf, -math.inf)]:
        if low <= row[1] <= high:
            start = start or row
            last = row
        elif start:
            best = max(best, (last[0] - start[0], start, last), key=lambda one: one[0])
            start = None
    return best


def apart_from_steam(rows, low, high):
    """Least and most K between the plateau's readings and saturated steam, by the iapws library."""
    _, first, last = hold(rows, low, high)
    apart = [c - (_TSat_P(kpa / 1000) - 273.15) for t, c, kpa in rows if first[0] <= t <= last[0]]
    return min(apart), max(apart)
