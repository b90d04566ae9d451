"""A simulated meter's port as a socket on this computer alone, for systems without pseudo-terminals.

It behaves as `emulator.PseudoPort`: bytes that no one reads are dropped, nothing here waits for a reader, and a meter
that was unplugged comes back at the same address.
"""

from __future__ import annotations

import contextlib
import os
import socket

HOST = "127.0.0.1"
READ_AT_ONCE = 256


class LoopbackPort:
    """A listening socket with one reader at a time. `device` is the URL to open, the same after every `plug`."""

    def __init__(self) -> None:
        """Listen on a free port.

        Raises:
            OSError: there can be none.
        """
        self._listener: socket.socket | None = None
        self._reader: socket.socket | None = None
        self._number = 0
        self.plug()

    @property
    def device(self) -> str:
        """The URL that opens it."""
        return f"socket://{HOST}:{self._number}"

    def plug(self) -> None:
        """Listen, at the address of before if there was one."""
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if os.name == "posix":
                # Else the address is kept for a while after a reader was there; elsewhere this means another thing.
                listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((HOST, self._number))
            listener.listen(1)
            listener.setblocking(False)
        except OSError:
            listener.close()
            raise
        self._listener, self._number = listener, listener.getsockname()[1]

    def unplug(self) -> None:
        """Stop listening and leave the reader: it sees the end."""
        for one in (self._reader, self._listener):
            if one is not None:
                one.close()
        self._reader = self._listener = None

    @property
    def plugged(self) -> bool:
        """Whether it listens."""
        return self._listener is not None

    @property
    def has_reader(self) -> bool:
        """Whether someone has it open; a new reader takes an old one's place."""
        if self._listener is not None:
            with contextlib.suppress(BlockingIOError):
                fresh, _ = self._listener.accept()
                fresh.setblocking(False)
                # Lines are short and wanted at once.
                fresh.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._leave()
                self._reader = fresh
        return self._reader is not None

    def send(self, data: bytes) -> None:
        """Send what the reader's end has room for and drop the rest; without a reader, all."""
        if not data or not self.has_reader or self._reader is None:
            return
        try:
            self._reader.send(data)
        except BlockingIOError:
            return
        except OSError:
            self._leave()

    def received(self) -> bytes:
        """Return what the reader has sent, nothing if nothing."""
        if not self.has_reader or self._reader is None:
            return b""
        try:
            data = self._reader.recv(READ_AT_ONCE)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._leave()
        return data

    def _leave(self) -> None:
        if self._reader is not None:
            self._reader.close()
            self._reader = None
