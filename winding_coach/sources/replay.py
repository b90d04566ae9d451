"""A saved wind as a source: the same inputs at the same times, as fast as wanted. Waits to absolute times."""

from __future__ import annotations

import time
from collections.abc import Sequence

from winding_coach.inputs import Ended, Input, KeyPressed
from winding_coach.sources.clock import Clock, Keys, Sleep

POLL_S = 0.05


class ReplaySource:
    """Plays `inputs`; `speed` None plays without waiting. Only `quit` is heard: the wind's own keys are recorded."""

    def __init__(
        self,
        inputs: Sequence[Input],
        speed: float | None = 1.0,
        *,
        clock: Clock = time.monotonic,
        sleep: Sleep = time.sleep,
    ) -> None:
        self._inputs = inputs
        self._next = 0
        self._speed = speed
        self._clock = clock
        self._sleep = sleep
        self._keys = Keys()
        self._began: float | None = None

    @property
    def position(self) -> int:
        """How many inputs have been played."""
        return self._next

    def press(self, name: str) -> None:
        """Queue a key, from any thread."""
        self._keys.press(name)

    def close(self) -> None:
        """Nothing is held."""

    def read(self, timeout_s: float) -> Input:
        """Return the next input when its time has come; at the end, Ended. `timeout_s` does not cut the wait short.

        An extra TimePassed would be an input that the wind never had.
        """
        last_s = self._inputs[self._next - 1].at_s if self._next else 0.0
        if self._next >= len(self._inputs):
            return Ended(last_s)
        event = self._inputs[self._next]
        if self._speed is not None:
            if self._began is None:
                self._began = self._clock()
            due = self._began + event.at_s / self._speed
            while (wait := due - self._clock()) > 0:
                self._sleep(min(wait, POLL_S))
                if self._quit(last_s):
                    return Ended(last_s)
        elif self._quit(last_s):
            return Ended(last_s)
        self._next += 1
        return event

    def _quit(self, at_s: float) -> bool:
        key = self._keys.take(at_s)
        return (isinstance(key, KeyPressed) and key.name == "quit") or isinstance(key, Ended)
