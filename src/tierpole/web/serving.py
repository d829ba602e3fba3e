"""Running the pages until Ctrl-C, for this computer alone or for the farm's network."""

from __future__ import annotations

import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from tierpole.errors import StoreError
from tierpole.office.start import Beginning
from tierpole.web.access import Gate
from tierpole.web.address import own_address
from tierpole.web.app import create_app
from tierpole.web.office import Office

HOST = "127.0.0.1"
TRIES = 20


@dataclass(frozen=True)
class Door:
    """Who is listened to: this computer alone, or with `lan` the network; how it is encrypted."""

    lan: bool = False
    certificate: Path | None = None
    key: Path | None = None


def serve(
    office: Office | Beginning, port: int, announce: Callable[[str], None],
    door: Door | None = None,
) -> None:  # fmt: skip
    """Serve the pages at `port` or the next free one; `announce` hears the address first."""
    beginning = office if isinstance(office, Beginning) else None
    here = None if isinstance(office, Beginning) else office
    door = door or Door()
    if door.lan:
        _may_open(here)
    listener = free_listener(port, "0.0.0.0" if door.lan else HOST)  # noqa: S104 - it is asked for
    with listener:
        scheme = "https" if door.certificate else "http"
        host = own_address() if door.lan else HOST
        announce(f"{scheme}://{host}:{listener.getsockname()[1]}/")
        app = create_app(here, Gate(here.people if here else None, door.lan), beginning)
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, proxy_headers=False,
            ssl_certfile=door.certificate, ssl_keyfile=door.key,
        )  # fmt: skip
        uvicorn.Server(config).run(sockets=[listener])


def _may_open(office: Office | None) -> None:
    """Nobody is let in from the network before the owner has set a passphrase."""
    if office is None:
        raise StoreError("Begin the farm on this computer first, without --lan.")
    if office.people is None:
        raise StoreError("A scenario is shown on this computer only. Put it into books first.")
    if not office.people.has_passphrase:
        raise StoreError("Set a passphrase first: tierpole passphrase BOOKS")


def free_listener(port: int, host: str = HOST) -> socket.socket:
    """A socket bound to the first free port from `port` on; `StoreError` when twenty are taken."""
    for number in range(port, min(port + TRIES, 65_536)):
        # the protocol is named, else asyncio leaves small answers waiting for 40 ms (Nagle)
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, number))
            listener.listen()
        except OSError:
            listener.close()
        else:
            return listener
    raise StoreError(
        f"Ports {port} to {port + TRIES - 1} are all taken. Stop another program or pass --port."
    )
