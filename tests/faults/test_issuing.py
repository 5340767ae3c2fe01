"""Two processes issue codes into one ledger at once, and one of them may be killed: no code is given twice."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from service.custody.rules.issuing import codes_of
from service.ledger.opening import create_at, open_at
from service.ledger.verify import verify
from tests.practice import TarnBridge, chosen

EACH, BLOCK = 5_000, 100
ENDLESS = 100_000
"""More than a process is given before it is killed."""
PROGRAM = """
import json, sys
from service.ledger.ids import uuid7
from service.ledger.opening import open_at
from service.stations.desk import Desk
from tests.practice import chosen
import os, time
where, count, block = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
desk = Desk(open_at(where, chosen()), chosen()).start()
print("ready", flush=True)
sys.stdin.readline()
for _ in range(count // block):
    act = uuid7(time.time_ns() // 1_000_000, os.urandom(10))
    answer = desk.act(act, "issue codes", by=None, body={"kind": "patients", "count": block}).result(60)
    print(json.dumps(answer["codes"]), flush=True)
desk.close()
"""


class Issuing:
    """A process that issues codes, block by block, and says which it was given."""

    def __init__(self, where, count=EACH):
        words = [sys.executable, "-c", PROGRAM, where, str(count), str(BLOCK)]
        self._running = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
                                         env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])})  # fmt: skip
        assert self._running.stdout.readline() == "ready\n"
        self.given = []

    def go(self):
        self._running.stdin.write("\n")
        self._running.stdin.flush()

    def take(self, blocks=None):
        """The codes of the next blocks, or of all that are left."""
        while blocks is None or blocks > 0:
            line = self._running.stdout.readline()
            if not line.endswith("\n"):
                break
            self.given += json.loads(line)
            blocks = None if blocks is None else blocks - 1

    def kill(self):
        self._running.kill()
        self.take()
        self._running.wait(10)

    def end(self):
        self.take()
        assert self._running.wait(30) == 0


@pytest.fixture(params=["sqlite", "postgres"])
def where(request, tmp_path):
    """An open site's ledger in either store: its address."""
    address = str(tmp_path / "k7.db") if request.param == "sqlite" else request.getfixturevalue("database")
    create_at(address)
    TarnBridge.over(open_at(address, chosen())).close()
    return address


def issued(where):
    """Every code the ledger says was issued, in its order."""
    ledger = open_at(where, chosen())
    with ledger.reading() as reader:
        found = [code for fact in reader.facts() if fact.kind == "codes_issued" for code in codes_of(fact)]
        assert verify(reader).fault is None
    ledger.close()
    return found


def test_two_processes_at_once_are_given_ten_thousand_different_codes(where):
    first, second = Issuing(where), Issuing(where)
    first.go(), second.go()
    first.end(), second.end()
    assert (len(first.given), len(second.given)) == (EACH, EACH)
    kept = issued(where)
    assert len(set(kept)) == len(kept) == 2 * EACH
    assert set(kept) == {*first.given, *second.given}
    assert kept == sorted(kept)


def test_one_killed_on_the_way_loses_nothing_it_was_given_and_the_other_is_given_none_of_it(where):
    first, second = Issuing(where, ENDLESS), Issuing(where)
    first.go(), second.go()
    first.take(10)
    first.kill()
    second.end()
    third = Issuing(where)
    third.go()
    third.end()
    kept = issued(where)
    assert 10 * BLOCK <= len(first.given) < ENDLESS
    assert len(set(kept)) == len(kept)
    given = first.given + second.given + third.given
    assert len(set(given)) == len(given)
    assert set(given) <= set(kept)
    assert len(kept) - len(given) in {0, BLOCK}
