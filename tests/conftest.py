"""Fixtures that several rooms use."""

import fcntl
import os
import subprocess
import sys
from pathlib import Path

import pytest

import scanner  # noqa: F401  (says how many threads NumPy takes, before NumPy is there: the processes share the cores)
from tests.cluster import Cluster, programs
from tests.practice import TarnBridge, chosen

ROOT = Path(__file__).resolve().parents[1]
LONGEST = (
    "tests/service/demo/test_demo.py", "tests/service/pages/test_camera.py",
    "tests/faults/test_service.py", "tests/service/api/test_fuzz.py", "tests/service/pages/test_accessible.py",
)  # fmt: skip
"""Files that take minutes: begun first, so that no process is left alone with one at the end."""


def pytest_collection_modifyitems(items):
    rank = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.nodeid.partition("::")[0], len(rank)))


PLAY = "foldmark demo --once --out demo-out"
"""The main job, as README has people start it."""


@pytest.fixture(scope="session")
def played(tmp_path_factory, worker_id):
    """Where the demo was played once for every file that looks at it, and what it said. Nobody changes it: copy it."""
    place = tmp_path_factory.getbasetemp()
    place = (place if worker_id == "master" else place.parent) / "played"
    place.mkdir(exist_ok=True)
    with (place / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        said = place / "said.txt"
        if not said.exists():
            done = subprocess.run([sys.executable, "-m", "service.cli", *PLAY.split()[1:]], cwd=place, timeout=600, check=False,
                                  capture_output=True, text=True, env=os.environ | {"PYTHONPATH": str(ROOT)})  # fmt: skip
            assert done.returncode == 0, done.stderr
            said.write_text(done.stdout)
    return place / "demo-out", said.read_text()


@pytest.fixture
def at_work():
    """Make a practice with the choices given, its ledger in memory; every one made is verified at the end."""
    from service.ledger.memory import MemoryLedger
    from service.ledger.verify import verify

    made = []

    def make(**choices):
        made.append(TarnBridge.over(MemoryLedger(chosen(**choices))))
        return made[-1]

    yield make
    for practice in made:
        with practice.desk.ledger.reading() as reader:
            found = verify(reader)
        practice.close()
        assert found.fault is None, found.fault


@pytest.fixture
def bridge(at_work):
    """Tarn Bridge with its usual choices."""
    return at_work()


@pytest.fixture
def on_disk(tmp_path):
    """Tarn Bridge with its ledger in a file."""
    practice = TarnBridge(tmp_path)
    yield practice
    practice.close()


@pytest.fixture(scope="session")
def cluster(tmp_path_factory):
    """A PostgreSQL server of this run's own."""
    if programs() is None:
        pytest.skip("PostgreSQL's server programs are not installed")
    made = Cluster(tmp_path_factory.mktemp("postgres") / "one")
    yield made
    made.stop("immediate")


@pytest.fixture
def database(cluster):
    """The address of a new, empty database."""
    return cluster.database()


@pytest.fixture
def server(tmp_path):
    made = []

    def make(folder, **more):
        made.append(Cluster(tmp_path / folder, **more))
        return made[-1]

    yield make
    for one in reversed(made):
        one.stop("immediate")
