"""Where phones find the pages, and codes that lead there."""

from __future__ import annotations

import ipaddress
import socket
from urllib.parse import urlsplit

import segno
from fastapi import Request

LOOPBACK = "127.0.0.1"


def own_address() -> str:
    """The address of this computer on the network it would send by; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return LOOPBACK
        return probe.getsockname()[0]


def is_own_computer(address: str) -> bool:
    """True for an address that no phone could follow."""
    host = urlsplit(address).hostname or ""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def phones_address(request: Request, is_open: bool) -> str:
    """Where a phone finds these pages, ending in a slash; empty when none can.

    The owner may sit at the farm's computer and read the pages at an address that is only its own.
    """
    here = request.base_url
    if not is_own_computer(str(here)):
        return str(here)
    own = own_address()
    return str(here.replace(hostname=own)) if is_open and own != LOOPBACK else ""


def code_picture(text: str) -> str:
    """A QR code as markup for a page: dark on light in every scheme, as scanners want it."""
    code = segno.make(text, error="m", micro=False)
    return code.svg_inline(border=4, omitsize=True, light="#fff")
