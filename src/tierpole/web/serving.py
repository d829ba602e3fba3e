"""Running the pages on this computer until Ctrl-C."""

from __future__ import annotations

import socket
from collections.abc import Callable

import uvicorn

from tierpole.errors import StoreError
from tierpole.web.app import create_app
from tierpole.web.office import Office

HOST = "127.0.0.1"
TRIES = 20


def serve(office: Office, port: int, announce: Callable[[str], None]) -> None:
    """Serve the pages at `port` or the next free one; `announce` hears the address first."""
    listener = free_listener(port)
    with listener:
        announce(f"http://{HOST}:{listener.getsockname()[1]}/")
        config = uvicorn.Config(create_app(office), log_level="warning", access_log=False)
        uvicorn.Server(config).run(sockets=[listener])


def free_listener(port: int) -> socket.socket:
    """A socket bound to the first free port from `port` on; `StoreError` when twenty are taken."""
    for number in range(port, min(port + TRIES, 65_536)):
        # the protocol is named, else asyncio leaves small answers waiting for 40 ms (Nagle)
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((HOST, number))
            listener.listen()
        except OSError:
            listener.close()
        else:
            return listener
    raise StoreError(
        f"Ports {port} to {port + TRIES - 1} are all taken. Stop another program or pass --port."
    )
