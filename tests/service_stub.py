"""A service that answers scans as told, on a loopback port: for scanners under test."""

import json
import socket
import threading
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class Service:
    """Answers `POST /api/scans` with `status`, `headers` and `answer`; 403 for the station it `refuses`; keeps what came."""

    def __init__(self, port=0):
        self.came = []
        self.status, self.answer = 200, {"verdict": "go", "headline": "Yes.", "detail": "", "next": "", "rule": None}
        self.headers, self.refuses, self.closed = {}, None, False
        self._live = set()
        service = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def setup(self):
                super().setup()
                service._live.add(self.connection)

            def finish(self):
                service._live.discard(self.connection)
                super().finish()

            def do_POST(self):
                if service.closed:
                    self.close_connection = True
                    return
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                service.came.append(body)
                data = json.dumps(service.answer).encode()
                refused = service.refuses is not None and body.get("station") == service.refuses
                self.send_response(403 if refused else service.status)
                for header in service.headers.items():
                    self.send_header(*header)
                self.send_header("Content-Length", str(len(data)))
                self.end_headers()
                self.wfile.write(data)

            def log_message(self, *args):
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self.port = self._server.server_address[1]
        self.url = f"http://127.0.0.1:{self.port}"
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def close(self):
        """Stop: nothing is heard from now on, not over a connection left open either."""
        self.closed = True
        self._server.shutdown()
        self._server.server_close()
        for connection in self._live.copy():
            with suppress(OSError):  # its other end was quicker
                connection.shutdown(socket.SHUT_RDWR)
