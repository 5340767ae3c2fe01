"""Scans through HTTP at ten thousand and at a million facts."""

from tests.bench.http import growth as run

__all__ = ["run"]
