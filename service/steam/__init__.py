"""Steam: what a machine did to a load, and whether that meets its programme. Pure: no I/O, no clock, no framework."""
