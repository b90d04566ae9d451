"""What every source of inputs offers: the serial port, a replay, practice. Values out, troubles as values too."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol

from winding_coach.base.inputs import Input


class Source(Protocol):
    """Where inputs come from. `read` and `close` belong to one thread; `press` may be called from any."""

    @property
    def started(self) -> datetime:
        """The wall clock's time at `at_s` 0, with its offset."""

    def read(self, timeout_s: float) -> Input:
        """Return the next input; TimePassed if nothing came. Never raises for a link's troubles.

        `at_s`: seconds since the source began, rounded to the microsecond, never going back. A key pressed
        meanwhile is returned within about 50 ms; after `quit` only Ended follows.
        """

    def press(self, name: str) -> None:
        """Queue a key by name."""

    def close(self) -> None:
        """Let go of what is held."""
