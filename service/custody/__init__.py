"""Custody: what happened to a pack, what may happen next, and why not. Pure: no I/O, no clock, no framework."""
