"""Hook distances of the last second; the speed at which the hooks move apart."""

from __future__ import annotations

from collections import deque

from winding_coach.signals.tuning import STALE_S

_EVERY_S = 0.0625


class Walk:
    """`distance_m` is the newest; `m_per_s(now)` how quickly it grows, None without distances of that age."""

    def __init__(self) -> None:
        self._recent: deque[tuple[float, float]] = deque(maxlen=16)
        self.distance_m: float | None = None

    def reset(self) -> None:
        """Nothing is known."""
        self._recent.clear()
        self.distance_m = None

    def add(self, now_s: float, distance_m: float) -> None:
        """Take the distance of a line."""
        self.distance_m = distance_m
        if not self._recent or now_s - self._recent[-1][0] >= _EVERY_S:
            self._recent.append((now_s, distance_m))

    def m_per_s(self, now_s: float) -> float | None:
        """Speed at which the hooks move apart over the last second, None without a distance of that age."""
        if len(self._recent) < 4 or now_s - self._recent[-1][0] > STALE_S:
            return None
        (first_s, first_m), (last_s, last_m) = self._recent[0], self._recent[-1]
        return (last_m - first_m) / (last_s - first_s)
