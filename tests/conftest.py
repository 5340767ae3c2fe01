"""Fixtures that several rooms use."""

import pytest

from tests.cluster import Cluster, programs
from tests.practice import TarnBridge


@pytest.fixture
def at_work(tmp_path):
    """Make a practice with the choices given; every one made is closed, and its ledger verified, at the end."""
    from service.ledger.verify import verify

    made = []

    def make(**choices):
        practice = TarnBridge(tmp_path, **choices)
        made.append(practice)
        return practice

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
