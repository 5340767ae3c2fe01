"""The address the service listens at."""

import errno
import socket


class PortError(Exception):
    """An address that cannot be used: one line that says why and what to do."""


def free_port(host: str, port: int) -> socket.socket:
    """A TCP socket bound to that address; port 0 takes any free one. Raises PortError."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # Named as TCP, or asyncio leaves Nagle's algorithm on and every answer waits 40 ms for an acknowledgement.
    bound = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
        bound.listen(256)
    except OSError as error:
        bound.close()
        if error.errno == errno.EADDRINUSE:
            raise PortError(
                f"port {port} on {host} is in use: stop what uses it, or choose another with --port"
            ) from error
        raise PortError(f"{host}:{port} cannot be used ({error.strerror}): check --host and --port") from error
    return bound
