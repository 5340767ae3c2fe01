"""Preview: what the scanner sees, on a page of this computer alone, with the label outlined and meters beside it."""

import contextlib
import json
import threading
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from scanner.aim import Aim, aim
from scanner.check import GAUGES, Gauge
from scanner.client import Verdict
from scanner.decode import Image, Sighting
from scanner.sources.source import Frame

PORT = 8079
_HERE = Path(__file__).parent
_PAGE = {
    "/": ("page.html", "text/html; charset=utf-8"),
    "/look.css": ("look.css", "text/css; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
}
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; img-src 'self' data:; style-src 'self'; script-src 'self'; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}
_WIDEST = 1280


class PreviewError(Exception):
    """A preview that cannot be served: why, and what to do."""


@dataclass(frozen=True, slots=True)
class _Seen:
    frame: Frame
    sightings: list[Sighting]


class Preview:
    """A page at http://127.0.0.1:PORT. The scanner hands it frames; they are looked at only when somebody asks."""

    def __init__(self, station: str, port: int = PORT) -> None:
        self._station = station
        self._seen: _Seen | None = None
        self._verdict: dict[str, Any] | None = None
        self._note = ""
        preview = self

        class Handler(_Handler):
            shown = preview

        try:
            self._server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        except (OSError, OverflowError) as error:
            raise PreviewError(f"the preview cannot have port {port}: choose another with --preview PORT") from error
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        self.url = f"http://127.0.0.1:{self.port}/"
        threading.Thread(target=self._server.serve_forever, name="preview", daemon=True).start()

    def see(self, frame: Frame, sightings: list[Sighting]) -> None:
        """The newest frame, 8-bit grey or BGR, and what was seen in it."""
        self._seen = _Seen(frame, sightings)

    def say(self, code: str, verdict: Verdict) -> None:
        """The newest verdict."""
        self._verdict = {"code": code, "verdict": verdict.verdict, "headline": verdict.headline, "next": verdict.next}

    def note(self, words: str) -> None:
        """The newest words about the source, or about a code that is not ours."""
        self._note = words

    def picture(self) -> bytes:
        """The newest frame as a JPEG with its labels outlined; empty before the first."""
        seen = self._seen
        if seen is None:
            return b""
        image = seen.frame.image
        scale = min(1.0, _WIDEST / image.shape[1])
        small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else image.copy()
        _outline(small, [one.corners * scale for one in seen.sightings])
        return cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 80])[1].tobytes()

    def state(self) -> dict[str, Any]:
        """What stands beside the picture, as JSON: meters, what was seen, the last verdict."""
        seen, found = self._seen, {"station": self._station, "verdict": self._verdict, "note": self._note}
        if seen is None:
            return found | {"frame": None, "seen": [], "meters": []}
        lies = aim(seen.frame.image, seen.sightings)
        told = [f"{one.symbology} {one.how}" for one in seen.sightings]
        return found | {"frame": seen.frame.index, "seen": told, "meters": [_meter(gauge, lies) for gauge in GAUGES]}

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


def _outline(image: Image, labels: list[Any]) -> None:
    """Draw a dark line within a light one round each label, seen on any ground."""
    outlines = [np.round(corners).astype(np.int32).reshape(-1, 1, 2) for corners in labels]
    for colour, width in (((248, 253, 255), 9), ((36, 27, 20), 4)):
        cv2.polylines(image, outlines, isClosed=True, color=colour, thickness=width, lineType=cv2.LINE_AA)


def _meter(gauge: Gauge, found: Aim) -> dict[str, Any]:
    """A gauge's name and value, where it stands and its good part begins and ends between 0 and 1, what to change."""
    value = gauge.of(found)
    change = "" if value is None else gauge.change(value)
    return {
        "name": gauge.what,
        "value": None if value is None else round(value, 1),
        "at": None if value is None else min(1.0, value / gauge.full),
        "from": gauge.least / gauge.full,
        "to": min(1.0, gauge.most / gauge.full),
        "change": change,
        "good": value is not None and not change and (gauge.anywhere or found.module_px is not None),
    }


class _Handler(BaseHTTPRequestHandler):
    """Answers GET to this computer's own browser, and to pages of its own only."""

    timeout = 20
    shown: Preview

    def do_GET(self) -> None:
        path = self.path.partition("?")[0]
        if not self._from_here():
            self._answer(403, "text/plain; charset=utf-8", b"The preview is for this computer's own browser.\n")
        elif path in _PAGE:
            name, kind = _PAGE[path]
            self._answer(200, kind, (_HERE / name).read_bytes())
        elif path == "/state.json":
            self._answer(200, "application/json", json.dumps(self.shown.state(), ensure_ascii=False).encode())
        elif path == "/picture.jpg" and (data := self.shown.picture()):
            self._answer(200, "image/jpeg", data)
        else:
            self._answer(404, "text/plain; charset=utf-8", b"There is nothing here.\n")

    def _from_here(self) -> bool:
        """Another site may not look, by a name of its own for 127.0.0.1 or from a page in the same browser."""
        here = {f"{name}:{self.shown.port}" for name in ("127.0.0.1", "localhost")}
        return self.headers.get("Host") in here and self.headers.get("Sec-Fetch-Site", "none") in {
            "none",
            "same-origin",
        }

    def _answer(self, status: int, kind: str, data: bytes) -> None:
        self.send_response(status)
        for name, value in {**_HEADERS, "Content-Type": kind, "Content-Length": str(len(data))}.items():
            self.send_header(name, value)
        with contextlib.suppress(ConnectionError):  # the browser may have gone
            self.end_headers()
            self.wfile.write(data)

    def log_message(self, *_: Any) -> None:
        """Nothing is written down of who looks."""
