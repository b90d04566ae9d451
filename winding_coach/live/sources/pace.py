"""The pace of simulated or recorded time: waits lead to absolute times, so that they never add up to a drift."""

from __future__ import annotations

from winding_coach.live.sources.clock import Clock

LATEST_S = 1.0
"""Further behind than this (a computer that slept, a process that was stopped), time goes on from now."""
SHORTEST_S = 1e-6


class Pace:
    """Tells how long to wait for a moment of another clock that goes `speed` times as fast."""

    def __init__(self, speed: float, clock: Clock, latest_s: float = LATEST_S) -> None:
        """latest_s: further behind than this, time goes on from now."""
        self._speed = speed
        self._clock = clock
        self._latest_s = latest_s
        self._zero: float | None = None

    def wait_s(self, at_s: float) -> float:
        """Return the real seconds until the moment `at_s` (0 or less: it is due)."""
        now = self._clock()
        if self._zero is None:
            self._zero = now
        wait = self._zero + at_s / self._speed - now
        if wait < -self._latest_s:
            self.go_on_from(at_s)
            return 0.0
        # A wait too short to change the clock's figure would be waited for good.
        return wait if wait > SHORTEST_S else min(wait, 0.0)

    def go_on_from(self, at_s: float) -> None:
        """Take now for the moment `at_s`."""
        self._zero = self._clock() - at_s / self._speed
