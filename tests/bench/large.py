"""Recall of one load among ten million generated facts, in both stores; size on disk a fact."""

import os
import sys
import tempfile
from pathlib import Path

from service.custody.recall import report
from service.ledger import sqlite
from tests.bench import grown
from tests.bench.rows import row, seconds
from tests.cluster import Cluster, programs
from tests.practice import chosen

FACTS = int(os.environ.get("FOLDMARK_BENCH_FACTS", "10000000"))


def asked(ledger, number):
    """Milliseconds of one recall, the best and the first of several loads never asked before."""
    times = []
    for at in range(number, number + 5):
        steam = grown.load_codes(at)[1]

        def ask(steam=steam):
            with ledger.reading() as reader:
                found = report(reader.state, reader.state.load(steam), "load")
            assert len(found["packs"]) == grown.PACKS

        times.append(1000 * seconds(ask))
    return max(times)


def run():
    rows = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        folder.chmod(0o711)
        rows += _sqlite(folder)
        if programs():
            rows += _postgres(folder)
    return rows


def _sqlite(folder):
    path = folder / "large.db"
    sqlite.create(path)
    connection = sqlite.connect(path, read_only=False)
    print(f"SQLite: {FACTS} facts …", file=sys.stderr)
    total = grown.into_sqlite(connection, FACTS)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    ledger = sqlite.SqliteLedger(path, chosen())
    worst = asked(ledger, total // grown.A_LOAD // 2)
    ledger.close()
    size = path.stat().st_size / total
    path.unlink()
    return _rows("SQLite", worst, total, size)


def _postgres(folder):
    from service.ledger import postgres

    server = Cluster(folder / "pg", settings=["max_wal_size=4GB"])
    try:
        url = server.database()
        postgres.follow(url, (grown.SITE,))
        print(f"PostgreSQL: {FACTS} facts …", file=sys.stderr)
        with postgres.connect(url, timeout_ms=0) as connection:
            total = grown.into_postgres(connection, FACTS)
            connection.execute("ANALYZE")
            size = connection.execute("SELECT pg_database_size(current_database())").fetchone()[0] / total
        ledger = postgres.PostgresLedger(url, chosen())
        worst = asked(ledger, total // grown.A_LOAD // 2)
        ledger.close()
    finally:
        server.stop("immediate")
    return _rows("PostgreSQL", worst, total, size)


def _rows(name, worst, total, size):
    return [
        row(
            f"{name}: recall of one load among {total} facts, the slowest of five",
            worst,
            10,
            "ms",
            "<= 10 ms",
            worst <= 10,
            2,
        ),
        row(
            f"{name}: on disk a fact, with its tables and indexes", size, None, "bytes", "no target", met=True, digits=0
        ),
    ]
