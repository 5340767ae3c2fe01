"""Who comes in, and by which door: PINs, sessions, enrolled devices, one-time codes."""
