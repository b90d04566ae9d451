"""A simulated meter as a source: its wire bytes in real time, faster, or without waiting. Keys as for a real one."""

from __future__ import annotations

import time
from typing import Protocol

from winding_coach.inputs import BytesArrived, Ended, Input, LinkUp, TimePassed
from winding_coach.sources.clock import Clock, Keys, Sleep, started_now

CHUNK_S = 0.0125
PORT = "simulated meter"


class Simulated(Protocol):
    """What `simulator.bench.Bench` offers."""

    def advance(self, dt_s: float) -> bytes:
        """Let time pass and return the bytes sent meanwhile."""

    @property
    def done(self) -> bool:
        """Whether the hands have finished."""


class PracticeSource:
    """Plays a bench; `speed` None does not wait. Ends with the bench's hands."""

    def __init__(
        self,
        bench: Simulated,
        speed: float | None = 1.0,
        *,
        clock: Clock = time.monotonic,
        sleep: Sleep = time.sleep,
    ) -> None:
        self.started = started_now()
        self._bench = bench
        self._speed = speed
        self._clock = clock
        self._sleep = sleep
        self._keys = Keys()
        self._began: float | None = None
        self._at_s = 0.0

    def press(self, name: str) -> None:
        """Queue a key, from any thread."""
        self._keys.press(name)

    def close(self) -> None:
        """Nothing is held."""

    def read(self, timeout_s: float) -> Input:
        """Return the next bytes, key, or the passing of time."""
        if self._began is None:
            self._began = self._clock()
            return LinkUp(0.0, PORT)
        key = self._keys.take(self._at_s)
        if key is not None:
            return key
        if self._bench.done:
            return Ended(self._at_s)
        end_s = self._at_s + timeout_s
        while self._at_s < end_s:
            self._at_s = round(self._at_s + CHUNK_S, 6)
            if self._speed is not None:
                wait = self._began + self._at_s / self._speed - self._clock()
                if wait > 0:
                    self._sleep(wait)
            data = self._bench.advance(CHUNK_S)
            if data:
                return BytesArrived(self._at_s, data)
        return TimePassed(self._at_s)
