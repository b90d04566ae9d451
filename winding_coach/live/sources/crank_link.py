"""A crank sender's port beside the meter's: its lines go in between the meter's, whole, so that one stream holds both.

The sender may be switched off, out of reach, or come later: it is opened again and again, by a thread of its own, and
nothing waits for it. Its lines come with the meter's bytes only, so that a meter's silence stays one.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable

from winding_coach.live.sources.wires import Wire

AGAIN_S = 1.0
MOST_KEPT = 400
"""Lines that wait for the meter's next bytes: of some seconds."""
LONGEST_LINE = 62


class CrankLink:
    """The sender's lines as they come. `take` may be called from any thread."""

    def __init__(self, port: str, open_wire: Callable[[str], Wire]) -> None:
        self._port = port
        self._open_wire = open_wire
        self._lines: list[bytes] = []
        self._rest = b""
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        threading.Thread(target=self._run, name="crank sender", daemon=True).start()

    def take(self) -> bytes:
        """Return the whole lines that have come."""
        with self._lock:
            lines, self._lines = self._lines, []
        return b"".join(lines)

    def close(self) -> None:
        """Let go of the port, soon."""
        self._stopping.set()

    def _run(self) -> None:
        while not self._stopping.is_set():
            # Whatever goes wrong there, it is tried again: the meter is read meanwhile.
            with contextlib.suppress(Exception):
                self._listen(self._open_wire(self._port))
            self._stopping.wait(AGAIN_S)

    def _listen(self, wire: Wire) -> None:
        self._rest = b""
        try:
            while not self._stopping.is_set():
                self._keep(wire.receive())
        finally:
            wire.close()

    def _keep(self, data: bytes) -> None:
        *lines, self._rest = (self._rest + data).split(b"\n")
        # What is not ended within a line's length is none.
        self._rest = self._rest[-LONGEST_LINE:]
        whole = [line[line.rfind(b"$C,") :] + b"\n" for line in lines if b"$C," in line[-LONGEST_LINE:]]
        if whole:
            with self._lock:
                self._lines = (self._lines + whole)[-MOST_KEPT:]


class JoinedWire:
    """A meter's wire with a crank sender's lines between its own."""

    def __init__(self, meter: Wire, crank: CrankLink) -> None:
        self._meter = meter
        self._crank = crank

    def receive(self) -> bytes:
        """Return what came of the meter, and of the sender up to now."""
        data = self._meter.receive()
        end = data.rfind(b"\n") + 1
        return data[:end] + self._crank.take() + data[end:] if end else data

    def send(self, data: bytes) -> None:
        """Send to the meter."""
        self._meter.send(data)

    def close(self) -> None:
        """Let go of the meter's port; the sender's stays."""
        self._meter.close()
