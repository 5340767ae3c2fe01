"""Fixtures that several rooms use."""

import pytest

from tests.cluster import Cluster, programs
from tests.practice import TarnBridge, chosen

LONGEST = (
    "tests/test_readme.py", "tests/service/demo/test_demo.py", "tests/service/pages/test_camera.py",
    "tests/faults/test_service.py", "tests/service/api/test_fuzz.py", "tests/service/pages/test_accessible.py",
)  # fmt: skip
"""Files that take minutes: begun first, so that no process is left alone with one at the end."""


def pytest_collection_modifyitems(items):
    rank = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.nodeid.partition("::")[0], len(rank)))


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
