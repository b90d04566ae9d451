"""What is seen on the ports, in words, for a screen that waits for a meter; looked up only while it asks."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from winding_coach.live.sources.ports import Port, list_ports

ASKED_WITHIN_S = 3.0
EVERY_S = 1.0
MOST = 3


def port_words(ports: list[Port]) -> str:
    """Return the ports in a line; those without a USB identity are hardly meters."""
    if not ports:
        return "Seen on the ports: nothing."
    shown = [
        f"{port.device} ({port.description or 'USB'})" if port.likely else f"{port.device} (no USB)"
        for port in ports[:MOST]
    ]
    more = f" and {len(ports) - MOST} more" if len(ports) > MOST else ""
    return f"Seen on the ports: {', '.join(shown)}{more}."


class PortsSeen:
    """Call it for the words; the first come a moment after the first call."""

    def __init__(
        self, look: Callable[[], list[Port]] = list_ports, *, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._look, self._clock = look, clock
        self._words = ""
        self._asked_s: float | None = None

    def __call__(self) -> str:
        """Return the newest words."""
        self._asked_s = self._clock()
        return self._words

    def start(self) -> None:
        """Look in a thread that ends with the program: a system may take its time to list its ports."""
        threading.Thread(target=self._run, name="ports seen", daemon=True).start()

    def refresh(self) -> None:
        """Look once, if someone asked lately."""
        if self._asked_s is not None and self._clock() - self._asked_s <= ASKED_WITHIN_S:
            self._words = port_words(self._look())

    def _run(self) -> None:
        while True:
            self.refresh()
            time.sleep(EVERY_S)
