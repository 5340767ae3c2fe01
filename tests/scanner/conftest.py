"""Fixtures of the scanner's tests."""

import pytest

from tests.service_stub import Service


@pytest.fixture
def service():
    running = Service()
    yield running
    running.close()
