"""A printer that is played: it does what a test tells it to, where a real one cannot be made to on purpose."""

import itertools
import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from label_templates.printer import ipp, messages
from label_templates.printer.messages import COLLECTION, ENUM, INTEGER, KEYWORD, MIME, NAME, RESOLUTION, Tagged, lone

HELD, PROCESSING, COMPLETED = 4, 5, 9
NOT_POSSIBLE = 0x0404
NAMES = {0x02: "Print-Job", 0x04: "Validate-Job", 0x05: "Create-Job", 0x06: "Send-Document", 0x08: "Cancel-Job",
         0x09: "Get-Job-Attributes", 0x0A: "Get-Jobs", 0x0B: "Get-Printer-Attributes"}  # fmt: skip


class Played:
    """Its jobs by number, what arrived, and what it is told to do.

    `gates` hold an answer back: (operation, whether before it is done) to an event pair, reached and open. `cut` breaks
    the connection at an operation: `before` it was done, or `after`. `refused` maps operations to a status, once each.
    """

    def __init__(self, operations=tuple(NAMES)):
        self.jobs, self.arrived, self.reasons, self.state = {}, [], ["none"], 3
        self.gates, self.cut, self.refused, self.operations = {}, {}, {}, operations
        self.ends = (COMPLETED, ["job-completed-successfully"])
        self.holds_up = False
        self.asked = []
        self.unsupported, self.templates, self.size = {}, [], (6200, 4000)
        self._numbers, self._server = itertools.count(1), None
        self.port = 0
        self.up()

    @property
    def uri(self):
        return f"ipp://127.0.0.1:{self.port}/ipp/print"

    def up(self):
        played = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"
            wbufsize = -1  # an answer in one piece, not waited for by the other side's acknowledgement

            def do_POST(self):
                played._answer(self)

            def log_message(self, *_):
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self._server.daemon_threads = True
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, args=(0.01,), daemon=True).start()

    def down(self):
        self._server.shutdown()
        self._server.server_close()

    def gate(self, operation, before):
        """Hold the next such operation; the events that say it was reached, and let it go on."""
        self.gates[operation, before] = pair = threading.Event(), threading.Event()
        return pair

    def _held(self, operation, before):
        if pair := self.gates.pop((operation, before), None):
            pair[0].set()
            pair[1].wait(30)

    def _answer(self, request):
        body = request.rfile.read(int(request.headers["Content-Length"]))
        message, document = messages.decode(body)
        name = NAMES[message.code]
        self.asked.append(name)
        self._held(name, True)
        if self.cut.get(name) == "before":
            del self.cut[name]
            request.close_connection = True
            request.connection.close()
            return
        status, groups = self._done(name, message, document)
        self._held(name, False)
        if self.cut.get(name) == "after":
            del self.cut[name]
            request.close_connection = True
            request.connection.close()
            return
        answer = messages.encode(status, 1, [(messages.OPERATION, {}), *groups])
        try:
            request.send_response(200)
            request.send_header("Content-Type", "application/ipp")
            request.send_header("Content-Length", str(len(answer)))
            request.end_headers()
            request.wfile.write(answer)
            request.wfile.flush()
        except OSError:
            request.close_connection = True

    def _done(self, name, message, document):
        if name in self.refused:
            return self.refused.pop(name), []
        told = message.group(messages.OPERATION)[0]
        match name:
            case "Get-Printer-Attributes":
                return 0, [(messages.PRINTER, self._attributes())]
            case "Validate-Job":
                return 0, [(messages.UNSUPPORTED, self.unsupported)] if self.unsupported else []
            case "Create-Job" | "Print-Job":
                number = next(self._numbers)
                self.templates += message.group(messages.JOB)
                self.jobs[number] = [lone(told, "job-name"), HELD, ["job-data-insufficient"]]
                if name == "Print-Job":
                    self._take(number, document)
                return 0, [(messages.JOB, self._job(number))]
            case "Send-Document":
                return self._take(lone(told, "job-id"), document), []
            case "Get-Jobs":
                ended = lone(told, "which-jobs") == "completed"
                return 0, [(messages.JOB, self._job(n)) for n, job in self.jobs.items() if (job[1] >= 7) == ended]
        number = lone(told, "job-id")
        if number not in self.jobs:
            return ipp.NOT_FOUND, []
        if name == "Cancel-Job":
            self.jobs[number][1:] = [7, ["job-canceled-by-user"]]
        elif self.jobs[number][1] == PROCESSING and not self.holds_up:
            self.jobs[number][1:] = self.ends
        return 0, [(messages.JOB, self._job(number))]

    def _take(self, number, document):
        """A job that has ended takes no document any more: RFC 8011 4.3.1."""
        if number not in self.jobs or self.jobs[number][1] > PROCESSING:
            return NOT_POSSIBLE
        self.arrived.append(document)
        self.jobs[number][1:] = [PROCESSING, ["job-printing"]]
        return 0

    def _job(self, number):
        name, state, reasons = self.jobs[number]
        return {"job-id": Tagged(INTEGER, number), "job-name": Tagged(NAME, name), "job-state": Tagged(ENUM, state),
                "job-state-reasons": Tagged(KEYWORD, reasons)}  # fmt: skip

    def _attributes(self):
        size = {"x-dimension": Tagged(INTEGER, self.size[0]), "y-dimension": Tagged(INTEGER, self.size[1])}
        codes = [code for code, name in NAMES.items() if name in self.operations or code in self.operations]
        return {
            "printer-state": Tagged(ENUM, self.state),
            "printer-state-reasons": Tagged(KEYWORD, self.reasons),
            "operations-supported": Tagged(ENUM, codes),
            "document-format-supported": Tagged(MIME, ["image/pwg-raster"]),
            "pwg-raster-document-type-supported": Tagged(KEYWORD, ["black_1"]),
            "pwg-raster-document-resolution-supported": Tagged(RESOLUTION, (203, 203)),
            "media-col-supported": Tagged(KEYWORD, ["media-size"]),
            "media-col-ready": Tagged(COLLECTION, {"media-size": Tagged(COLLECTION, size)}),
        }

    def forget(self):
        """As after the power went: no job is known any more."""
        self.jobs.clear()


@contextmanager
def played(**more):
    printer = Played(**more)
    try:
        yield printer
    finally:
        printer.down()
