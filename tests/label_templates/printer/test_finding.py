"""Printers found: by what they tell the network, in CUPS, and by a secure address whose certificate must stay."""

import socket

import pytest

from label_templates.printer import find
from label_templates.printer.ipp import Printer, PrinterError
from tests.label_templates.printer.everywhere import until
from tests.label_templates.printer.played import played as playing

LOOPBACK = ["127.0.0.1"]


@pytest.fixture
def tell():
    """Tell the loopback network of a printer, as printers do."""
    from zeroconf import ServiceInfo, Zeroconf

    with Zeroconf(interfaces=LOOPBACK) as network:

        def told(name, kind, port, path="ipp/print"):
            address = [socket.inet_aton("127.0.0.1")]
            network.register_service(ServiceInfo(kind, f"{name}.{kind}", addresses=address, port=port, server="labels-of-a-test.local.",
                                                 properties={"rp": path}), cooperating_responders=True)  # fmt: skip

        yield told


def test_a_printer_that_tells_the_network_is_found_and_answers_at_the_address_found(played, tell):
    tell("Label roll", "_ipp._tcp.local.", played.port)
    one = until(lambda: [one for one in find.on_network(0.5, LOOPBACK) if one.name == "Label roll"], "the printer")[0]
    assert one == find.Found("Label roll", f"ipp://127.0.0.1:{played.port}/ipp/print", "network")
    with Printer(one.uri) as printer:
        assert printer.attributes()["printer-state"] == [3]


def test_a_printer_with_a_secure_address_is_found_at_that(tell):
    tell("Secure roll", "_ipp._tcp.local.", 631)
    tell("Secure roll", "_ipps._tcp.local.", 443)
    found = until(lambda: [one for one in find.on_network(0.5, LOOPBACK) if one.uri.startswith("ipps")], "the printer")
    assert found == [find.Found("Secure roll", "ipps://127.0.0.1:443/ipp/print", "network")]


def test_without_the_part_that_asks_the_network_it_is_said_how_to_get_it(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "zeroconf", None)
    with pytest.raises(find.FindError, match=r"pip install 'foldmark\[printers\]', or name the printer"):
        find.on_network(0.1)


def test_where_no_cups_runs_there_are_no_queues():
    with playing() as gone:
        pass
    assert find.in_cups(f"ipp://127.0.0.1:{gone.port}/") == []


def test_a_secure_printer_s_certificate_is_believed_once_and_must_stay_the_same(everywhere, sender):
    printer = everywhere(command="exit 0", tls=True)
    job = sender.add(printer.uri)
    sender.go(printer.uri)
    assert sender.state(job) == "printed" and len(printer.arrived) == 1
    pinned = sender.queue.certificate(printer.uri)
    assert pinned.startswith("-----BEGIN CERTIFICATE-----")
    other = everywhere(command="exit 0", tls=True)
    with Printer(other.uri) as one:
        one.attributes()
        strange = one.certificate
    assert strange != pinned
    sender.queue.note_certificate(printer.uri, strange)
    again = sender.add(printer.uri)
    said = sender.go(printer.uri)
    assert "shows another certificate than when it was first used" in said
    assert f"foldmark label printers --trust {printer.uri}" in said
    assert sender.state(again) == "stopped" and len(printer.arrived) == 1


def test_what_answers_and_is_no_printer_is_told(tmp_path):
    import http.server
    import threading

    class Web(http.server.BaseHTTPRequestHandler):
        def do_POST(self):
            self.rfile.read(int(self.headers["Content-Length"]))
            status = {"/none": 404, "/secure": 426, "/who": 401}.get(self.path, 200)
            self.send_response(status)
            self.end_headers()
            self.wfile.write(b"<html>hello</html>")

        def log_message(self, *_):
            pass

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Web) as server:
        threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True).start()
        try:
            for path, said in {
                "/": "does not speak IPP",
                "/none": "often /ipp/print",
                "/secure": "ipps://",
                "/who": "password",
            }.items():
                with (
                    Printer(f"ipp://127.0.0.1:{server.server_address[1]}{path}") as printer,
                    pytest.raises(PrinterError, match=said),
                ):
                    printer.attributes()
        finally:
            server.shutdown()
