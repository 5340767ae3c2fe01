"""A service on a free port, in a thread of this process."""

import threading
from contextlib import contextmanager

import uvicorn

from service.api.gate import PromptClients
from service.api.listen import free_port


@contextmanager
def served(app, **more):
    """The address (host, port) at which `app` is served until the end."""
    bound = free_port("127.0.0.1", 0)
    told = {"http": PromptClients, "log_config": None, "timeout_graceful_shutdown": 1, "access_log": False} | more
    server = uvicorn.Server(uvicorn.Config(app, **told))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]}, daemon=True)
    thread.start()
    try:
        yield bound.getsockname()
    finally:
        server.should_exit = True
        thread.join(15)
