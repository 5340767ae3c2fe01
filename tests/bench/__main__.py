"""`python -m tests.bench [decode|scan|ledger|http|screens|steam|labels|grade|growth|damage|legible|hours|large …]`: each work with its anchor in the same run.

`growth` (a million facts, some five minutes), `damage` (what a reader bears, some forty), `legible` (misreads), `hours` (a scanner's eight hours, simulated) and `large` (ten million facts, some
fifteen, 20 GB of disk) run when they are named.
"""

import importlib
import json
import sys

import scanner  # noqa: F401  (says how many threads NumPy takes, before NumPy is there)

USUAL = ("decode", "scan", "ledger", "http", "screens", "steam", "labels", "grade")
WORKS = (*USUAL, "growth", "damage", "legible", "hours", "large")


def table(rows):
    head = ("work", "ours", "anchor", "unit", "ratio", "target", "met")
    lines = [head, *((*(str(row[key]) for key in head[:-1]), "yes" if row["met"] else "NO") for row in rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(head))]
    for line in lines:
        print("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())


def main(wanted):
    unknown = [name for name in wanted if name not in WORKS]
    if unknown:
        print(f"no bench is named {unknown[0]}: there are {', '.join(WORKS)}", file=sys.stderr)
        return 2
    rows = []
    for name in wanted or USUAL:
        print(f"measuring {name} …", file=sys.stderr)
        rows += importlib.import_module(f"tests.bench.{name}").run()
    table(rows)
    short = [row["work"] for row in rows if not row["met"]]
    print(f"\n{'Falls short: ' + '; '.join(short) if short else 'Every target met in this run.'}")
    if not wanted:
        print("Not measured in this run, being long: growth, damage, legible, hours, large.")
    print(
        json.dumps(
            {
                row["work"]: {key: row[key] for key in ("ours", "anchor", "unit", "ratio", "target", "met")}
                for row in rows
            }
        )
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
