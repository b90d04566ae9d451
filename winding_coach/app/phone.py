"""An address for a phone: how this computer is reached from its network, and the address as a code in the terminal."""

from __future__ import annotations

import contextlib
import socket

from winding_coach.app.codes import modules_of
from winding_coach.app.problem import Problem

EVERY_ADDRESS = ("0.0.0.0", "::")
SOMEWHERE = {socket.AF_INET: "192.0.2.1", socket.AF_INET6: "2001:db8::1"}
"""Addresses of documentation (RFC 5737, RFC 3849): nothing is sent to them, only the way there is asked for."""
QUIET_ZONE = 4
"""Light modules that ISO/IEC 18004 wants around a code."""
HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def reachable_at(host: str) -> str:
    """Return the address by which others reach a server that listens on `host`."""
    if host not in EVERY_ADDRESS:
        return host
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as asked:
        asked.connect((SOMEWHERE[family], 9))
        return str(asked.getsockname()[0])
    return socket.gethostname()


def code_lines(address: str) -> list[str]:
    """Return a QR code (ISO/IEC 18004) of an address as lines of half blocks, light on dark as in a dark terminal.

    Raises:
        Problem: the library for it is not installed.
    """
    try:
        dark = modules_of(address, border=QUIET_ZONE)
    except ImportError:
        raise Problem(
            "--show-code needs segno, which is not installed: pip install 'winding-coach[code]', or type the address."
        ) from None
    light = [[not cell for cell in row] for row in dark]
    if len(light) % 2:
        light.append([True] * len(light[0]))
    pairs = zip(light[::2], light[1::2], strict=True)
    return ["".join(HALVES[cells] for cells in zip(above, below, strict=True)) for above, below in pairs]
