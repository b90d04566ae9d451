"""What is opened at a port's name: a serial device, or `socket://host:port`, or another URL that pyserial knows.

Bytes in and out; every wait ends within `POLL_S`. Errors are the system's own: see `ports.plain_reason`.
"""

from __future__ import annotations

import contextlib
import select
import socket
import time
from typing import Protocol
from urllib.parse import urlsplit

from winding_coach.meter.plain_lines import PlainLines

BAUD = 115_200
PLAIN = "plain://"
POLL_S = 0.05
"""A key or a stop is noticed within this."""
WRITE_WAIT_S = 0.2
CONNECT_WAIT_S = 5.0
MOST_BYTES = 4096
"""Taken at once: two seconds of lines."""


class Wire(Protocol):
    """An open port."""

    def receive(self) -> bytes:
        """Return what came; nothing if nothing came within `POLL_S`. Raises for a lost port."""

    def send(self, data: bytes) -> None:
        """Send a few bytes."""

    def close(self) -> None:
        """Let go of the port. Never raises."""


class SerialLike(Protocol):
    """What is used of a pyserial port."""

    @property
    def in_waiting(self) -> int: ...

    def read(self, size: int = 1, /) -> bytes: ...

    def write(self, data: bytes, /) -> int | None: ...

    def close(self) -> None: ...


class SerialWire:
    """A port of pyserial."""

    def __init__(self, port: SerialLike) -> None:
        self._port = port

    def receive(self) -> bytes:
        """Return what came."""
        port = self._port
        data = bytes(port.read(max(1, port.in_waiting)))
        if data:
            # What arrived while the first byte was waited for: one input, not two. A port that is lost just now
            # is still lost at the next look, and what it gave before is good.
            with contextlib.suppress(OSError):
                data += port.read(min(port.in_waiting, MOST_BYTES))
        return data

    def send(self, data: bytes) -> None:
        """Send a few bytes."""
        self._port.write(data)

    def close(self) -> None:
        """Let go of the port."""
        with contextlib.suppress(OSError):
            self._port.close()


class SocketWire:
    """A TCP connection. Not pyserial's: that drops what comes while it opens and gives one byte a read."""

    def __init__(self, url: str) -> None:
        try:
            parts = urlsplit(url)
            address = (parts.hostname or "", parts.port or 0)
        except ValueError:
            address = ("", 0)
        if not all(address):
            raise ValueError(f"'{url}' is no address: write socket://HOST:PORT")
        self._socket = socket.create_connection(address, CONNECT_WAIT_S)
        self._socket.settimeout(WRITE_WAIT_S)

    def receive(self) -> bytes:
        """Return what came."""
        ready, _, _ = select.select([self._socket], [], [], POLL_S)
        if not ready:
            return b""
        data = self._socket.recv(MOST_BYTES)
        if not data:
            raise ConnectionResetError("the other end closed the connection")
        return data

    def send(self, data: bytes) -> None:
        """Send a few bytes."""
        self._socket.sendall(data)

    def close(self) -> None:
        """Let go of the connection."""
        self._socket.close()


class PlainWire:
    """A port of one number a line, translated into the meter's protocol as it comes."""

    def __init__(self, inner: Wire) -> None:
        self._inner = inner
        self._lines = PlainLines()

    def receive(self) -> bytes:
        """Return what came, translated."""
        data = self._inner.receive()
        return self._lines.translate(time.monotonic(), data) if data else b""

    def send(self, data: bytes) -> None:
        """Send nothing: such a sketch answers no question, and may take a byte for a command."""

    def close(self) -> None:
        """Let go of the port."""
        self._inner.close()


def open_wire(name: str) -> Wire:
    """Open a device or URL; `plain://` and either of them is read as one number a line.

    Raises:
        Exception: whatever the system, pyserial or one of its URL handlers raises; `ports.plain_reason` words it.
    """
    if name.startswith(PLAIN):
        return PlainWire(open_wire(name.removeprefix(PLAIN)))
    if name.startswith("socket://"):
        return SocketWire(name)
    import serial

    if "://" in name:
        port = serial.serial_for_url(name, baudrate=BAUD, timeout=POLL_S, write_timeout=WRITE_WAIT_S)
        return SerialWire(port)
    # exclusive keeps a second program out; DTR stays at its default, or boards would reset or stay silent.
    return SerialWire(serial.Serial(name, baudrate=BAUD, timeout=POLL_S, write_timeout=WRITE_WAIT_S, exclusive=True))
