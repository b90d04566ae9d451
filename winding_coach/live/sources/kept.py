"""One meter for several winds: each gets a source of its own, and between two the port stays open.

What the meter sends in between is read away, so that the next wind begins with what is so then.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

from winding_coach.live.sources.connecting import Found, Known
from winding_coach.live.sources.crank_link import CrankLink
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.live.sources.wires import open_wire

JOIN_S = 1.0
PAUSE_S = 0.01


class KeptPort:
    """The port of a meter, `auto`, a device or a URL, for one wind after another."""

    def __init__(
        self,
        port: str,
        source: Callable[..., SerialSource] = SerialSource,
        crank_port: str | None = None,
        speed: float = 1.0,
    ) -> None:
        """source: makes the source of a wind; a test may give it another clock. crank_port: of a crank sender.

        speed: of a simulated meter's time.
        """
        self.port = port
        self._crank = None if crank_port is None else CrankLink(crank_port, open_wire)
        self._make = source
        self._speed = speed
        self._open: Found | None = None
        self._known: Known | None = None
        self._reading_away: threading.Thread | None = None
        self._stopping = threading.Event()

    @property
    def is_open(self) -> bool:
        """Whether a port is kept open now, between two winds."""
        return self._open is not None

    def source(self) -> SerialSource:
        """Return the source of the next wind. The one before must have been closed."""
        self._stop_reading()
        link, self._open = self._open, None
        return self._make(
            self.port, link=link, known=self._known, keep=self._keep, crank=self._crank, speed=self._speed
        )

    def close(self) -> None:
        """Let go of the port, and the sender's."""
        self._stop_reading()
        if self._crank is not None:
            self._crank.close()
        link, self._open = self._open, None
        if link is not None:
            link.wire.close()

    def _keep(self, link: Found) -> None:
        self._open, self._known = link, link.known
        self._stopping.clear()
        self._reading_away = threading.Thread(target=self._read_away, args=(link,), name="kept port", daemon=True)
        self._reading_away.start()

    def _stop_reading(self) -> None:
        self._stopping.set()
        if self._reading_away is not None:
            self._reading_away.join(JOIN_S)
            self._reading_away = None

    def _read_away(self, link: Found) -> None:
        """Read until the next wind; a port that is lost meanwhile is looked for again then."""
        while not self._stopping.is_set():
            try:
                if not link.wire.receive():
                    self._stopping.wait(PAUSE_S)
            except Exception:  # As in SerialSource: a lost port raises what it likes.
                self._open = None
                link.wire.close()
                return
