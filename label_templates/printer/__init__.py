"""Printers: labels sent to one that speaks IPP, followed to the end, and never printed twice unsaid.

A label is kept in a queue on disk before anything is sent (`queue`), sent in a form the printer takes (`formats`) by
the protocol (`ipp`), and followed until the printer says how it ended (`work`). What it says is told in `words`.
"""
