"""Faults, each a real one: what was acknowledged is kept, and nothing is written twice."""
