"""Which printers there are: those that tell the network by DNS-SD (RFC 6763), and the queues of CUPS."""

import socket
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from label_templates.printer import messages
from label_templates.printer.ipp import Printer, PrinterError
from label_templates.printer.messages import KEYWORD, Tagged, lone

CUPS: Final = "ipp://localhost:631/"
_CUPS_GET_PRINTERS: Final = 0x4002
"""CUPS' own operation: its Implementation of IPP."""
_TYPES: Final = ("_ipp._tcp.local.", "_ipps._tcp.local.")


class FindError(Exception):
    """Why the network cannot be asked for its printers."""


@dataclass(frozen=True, slots=True)
class Found:
    """A printer by what it calls itself and its address. `where` is `network` or `CUPS`."""

    name: str
    uri: str
    where: str


def in_cups(server: str = CUPS) -> list[Found]:
    """The queues of a CUPS server; none when there is no such server."""
    try:
        with Printer(server) as cups:
            asked = {"requested-attributes": Tagged(KEYWORD, ["printer-name", "printer-info"])}
            queues = cups.ask_anything(_CUPS_GET_PRINTERS, asked).group(messages.PRINTER)
    except PrinterError:
        return []
    names = [str(lone(queue, "printer-name")) for queue in queues if queue.get("printer-name")]
    return [Found(name, f"{server}printers/{name}", "CUPS") for name in names]


def on_network(seconds: float = 2.0, interfaces: Sequence[str] | None = None) -> list[Found]:
    """The printers that answer within so many seconds, by name; where one has a secure address, that.

    Raises FindError when the part that asks is not installed, or the network cannot be asked.
    """
    try:
        from zeroconf import InterfaceChoice, ServiceBrowser, ServiceStateChange, Zeroconf  # noqa: PLC0415  (an extra)
    except ImportError as error:
        raise FindError("the network was not asked: pip install 'foldmark[printers]', or name the printer") from error
    seen: list[tuple[str, str]] = []

    def heard(zeroconf: Zeroconf, service_type: str, name: str, state_change: ServiceStateChange) -> None:  # noqa: ARG001
        if state_change is ServiceStateChange.Added:
            seen.append((service_type, name))

    try:
        with Zeroconf(interfaces=list(interfaces) if interfaces else InterfaceChoice.All) as network:
            browser = ServiceBrowser(network, list(_TYPES), handlers=[heard])
            threading.Event().wait(seconds)
            browser.cancel()
            told = [network.get_service_info(kind, name) for kind, name in sorted(seen)]
    except OSError as error:
        raise FindError(f"the network was not asked ({error}): name the printer instead") from error
    found: dict[str, Found] = {}
    for info in told:
        if info and info.port and (addresses := info.parsed_addresses()):
            name = info.name.removesuffix(f".{info.type}")
            path = (info.properties.get(b"rp") or b"").decode("utf-8", "replace").lstrip("/")
            host = _host(str(info.server or "").rstrip("."), addresses[0])
            scheme = info.type[1:].partition(".")[0]
            found[name] = Found(name, f"{scheme}://{host}:{info.port}/{path}", "network")
    return sorted(found.values(), key=lambda one: one.name)


def _host(name: str, address: str) -> str:
    """A printer's name where this computer can look it up, as addresses change; its address otherwise."""
    try:
        socket.getaddrinfo(name, None)
    except OSError:
        return f"[{address}]" if ":" in address else address
    return name
