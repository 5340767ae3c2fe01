"""A service that answers scans as told, on a loopback port: for scanners under test."""

import json
import socket
import threading
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class Service:
    """Answers `POST /api/scans` with `status` and `answer`; keeps what came."""

    def __init__(self, port=0):
        self.came = []
        self.status, self.answer = 200, {"verdict": "go", "headline": "Yes.", "detail": "", "next": "", "rule": None}
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
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                service.came.append(body)
                data = json.dumps(service.answer).encode()
                self.send_response(service.status)
                self.send_header("Content-Length", str(len(data)))
                self.end_headers()
                self.wfile.write(data)

            def log_message(self, *args):
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self.port = self._server.server_address[1]
        self.url = f"http://127.0.0.1:{self.port}"
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def close(self):
        """Stop: nothing is heard from now on, not over a connection left open either."""
        self._server.shutdown()
        self._server.server_close()
        for connection in self._live.copy():
            with suppress(OSError):  # its other end was quicker
                connection.shutdown(socket.SHUT_RDWR)
