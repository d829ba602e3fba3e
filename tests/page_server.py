"""The pages of an office on a port of this machine, for as long as a test needs them."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import uvicorn

from tierpole.web import create_app
from tierpole.web.serving import HOST, free_listener


@contextmanager
def served(
    office: Any, gate: Any = None, port: int = 18_600, beginning: Any = None
) -> Iterator[str]:
    """Serve an office's pages, or those of a start; gives their address."""
    listener = free_listener(port)
    app = create_app(office, gate, beginning)
    server = uvicorn.Server(uvicorn.Config(app, log_level="critical"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the page server did not start"
        time.sleep(0.01)
    try:
        yield f"http://{HOST}:{listener.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()
        listener.close()
