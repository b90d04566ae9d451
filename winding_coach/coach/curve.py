"""The chart's data: torque and turns over time, thinned so that a long wind takes no more room than a short one."""

from __future__ import annotations

MOST_POINTS = 2000


class Curve:
    """Append-only for the loop's thread; `points` may be called from any other."""

    def __init__(self) -> None:
        self._points: list[tuple[float, float | None, float]] = []
        self._stride = 1
        self._count = 0

    def add(self, at_s: float, turns: float | None, torque_Nm: float) -> None:
        """Take one point; every `stride`-th is kept, and the stride doubles when the list is full."""
        self._count += 1
        if self._count % self._stride:
            return
        points = self._points
        if len(points) >= MOST_POINTS:
            self._stride *= 2
            points = points[::2]
        # A new list each time it is thinned, an append otherwise: a reader's snapshot is never half made.
        points.append((at_s, turns, torque_Nm))
        self._points = points

    def points(self) -> tuple[tuple[float, float | None, float], ...]:
        """Return (at_s, turns or None, torque in N·m) of the points kept, oldest first."""
        return tuple(self._points)
