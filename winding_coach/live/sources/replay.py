"""A saved wind as a source: the same inputs at the same times, as fast as wanted. Waits to absolute times."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import datetime

from winding_coach.base.inputs import Ended, Input, KeyPressed
from winding_coach.live.sources.clock import Clock, Keys, Sleep, started_now
from winding_coach.live.sources.pace import Pace

POLL_S = 0.05


class ReplaySource:
    """Plays `inputs`; `speed` None plays without waiting. Only `quit` is heard: the wind's own keys are recorded."""

    def __init__(
        self,
        inputs: Sequence[Input],
        speed: float | None = 1.0,
        *,
        started: datetime | None = None,
        clock: Clock = time.monotonic,
        sleep: Sleep = time.sleep,
    ) -> None:
        """started: when the wind was, if it is known."""
        self.started = started or started_now()
        self._inputs = inputs
        self._next = 0
        self._pace = None if speed is None else Pace(speed, clock)
        self._sleep = sleep
        self._keys = Keys()

    @property
    def at_s(self) -> float:
        """The trace's time that has been reached."""
        return self._inputs[self._next - 1].at_s if self._next else 0.0

    def press(self, name: str) -> None:
        """Queue a key, from any thread."""
        self._keys.press(name)

    def close(self) -> None:
        """Nothing is held."""

    def read(self, timeout_s: float) -> Input:
        """Return the next input when its time has come; at the end, Ended. `timeout_s` does not cut the wait short.

        An extra TimePassed would be an input that the wind never had.
        """
        while True:
            last_s = self.at_s
            if self._next >= len(self._inputs) or self._quit(last_s):
                return Ended(last_s)
            event = self._inputs[self._next]
            wait_s = 0.0 if self._pace is None else self._pace.wait_s(event.at_s)
            if wait_s <= 0:
                self._next += 1
                return event
            self._sleep(min(wait_s, POLL_S))

    def _quit(self, at_s: float) -> bool:
        key = self._keys.take(at_s)
        return (isinstance(key, KeyPressed) and key.name == "quit") or isinstance(key, Ended)
