"""Rescue: reading labels that stock readers give up on, region by region, within a time budget."""
