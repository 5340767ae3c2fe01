"""Measurements, each with its anchor in the same run."""

import scanner  # noqa: F401  (before numpy, to which it gives one thread)
