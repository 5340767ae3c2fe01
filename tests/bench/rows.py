"""How a bench says its result."""

import time


def row(work, ours, anchor, unit, target, met, digits=1):
    """One line of the table: our number, the anchor's in the same run, and whether the target is met."""
    ratio = round(ours / anchor, 3) if anchor else None
    return {"work": work, "ours": round(ours, digits), "anchor": round(anchor, digits) if anchor is not None else None, "unit": unit,
            "ratio": ratio, "target": target, "met": bool(met)}  # fmt: skip


def seconds(work, times=1):
    """The shortest of `times` runs of `work`, in seconds."""
    best = float("inf")
    for _ in range(times):
        began = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - began)
    return best
