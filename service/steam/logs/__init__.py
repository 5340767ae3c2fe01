"""Reading cycle logs of any sensible shape: bytes, text, rows, times, units. A mapping says how, or a guess. Pure."""
