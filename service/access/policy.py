"""Which door an address is behind. What is named nowhere here takes a person who signed in."""

OPEN, STATION, LOOK, ACT, SCAN, NUMBERS = "open", "station", "look", "act", "scan", "numbers"
_OPEN_READS = ("/static/", "/sign-in", "/start", "/enrol", "/health")
_OPEN_WRITES = {"/api/session", "/api/pin", "/api/devices/claim"}
_STATION_READS = ("/stations/", "/api/stations/")


def door(method: str, path: str) -> str:
    """The door of a request: anybody's, a station's, a monitor's, or for a look or an act of somebody signed in."""
    if method in {"GET", "HEAD"}:
        if path.startswith(_OPEN_READS):
            return OPEN
        if path == "/metrics":
            return NUMBERS
        sheet = path.startswith("/sets/") and path.endswith("/sheet")
        return STATION if path == "/stations" or path.startswith(_STATION_READS) or sheet else LOOK
    if path == "/api/scans":
        return SCAN
    return OPEN if path in _OPEN_WRITES else ACT
