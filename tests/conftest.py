"""Fixtures that several rooms use."""

import pytest

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
            found = verify(reader, practice.practice)
        practice.close()
        assert found.fault is None, found.fault


@pytest.fixture
def bridge(at_work):
    """Tarn Bridge with its usual choices."""
    return at_work()
