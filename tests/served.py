"""A service on a free port, in a thread of this process."""

import threading
import time
from contextlib import contextmanager

import uvicorn

from service.api.gate import PromptClients
from service.api.listen import free_port


class Running:
    """A service that runs: its `address` (host, port), its `url`, and how to end it."""

    def __init__(self, app, **more):
        bound = free_port("127.0.0.1", 0)
        self.address = bound.getsockname()
        self.url = f"http://127.0.0.1:{self.address[1]}"
        told = {"http": PromptClients, "log_config": None, "timeout_graceful_shutdown": 1, "access_log": False} | more
        self._server = uvicorn.Server(uvicorn.Config(app, **told))
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [bound]}, daemon=True)
        self._thread.start()

    def end(self):
        """End it; the seconds that took."""
        began = time.monotonic()
        self._server.should_exit = True
        self._thread.join(15)
        assert not self._thread.is_alive(), "the service did not end"
        return time.monotonic() - began


@contextmanager
def running(app, **more):
    """`app`, served until the end."""
    service = Running(app, **more)
    try:
        yield service
    finally:
        service.end()


@contextmanager
def served(app, **more):
    """The address (host, port) at which `app` is served until the end."""
    with running(app, **more) as service:
        yield service.address
