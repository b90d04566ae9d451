"""Crank counts, taps of a helper (and, one day, ripple) in; turns of the handle and where they come from out."""

from __future__ import annotations

from winding_coach.signals.reading import TurnsSource
from winding_coach.signals.tuning import MOST_REV_PER_S


class TurnCounter:
    """`turns` since the beginning, None while nothing has been counted. A new meter count never makes a jump."""

    def __init__(self) -> None:
        self.turns: float | None = None
        self.source: TurnsSource = "unknown"
        self._last_count: float | None = None
        self._last_s = 0.0

    def counted(self, t_s: float, count: float) -> float:
        """Take the meter's cumulative count; returns by how much the turns changed."""
        change = 0.0
        if self._last_count is not None:
            change = count - self._last_count
            # More than a hand can do since then: the count began anew, or the line lied.
            if abs(change) > 2.0 + MOST_REV_PER_S * max(t_s - self._last_s, 0.0):
                change = 0.0
        self._last_count, self._last_s = count, t_s
        self.turns = change if self.turns is None else self.turns + change
        self.source = "counted"
        return change

    def tapped(self) -> None:
        """A helper saw one turn of the handle; ignored while the meter counts."""
        if self.source != "counted":
            self.turns = 1.0 if self.turns is None else self.turns + 1.0
            self.source = "tapped"

    def new_clock(self) -> None:
        """The meter's count and clock may begin anew; the turns stay."""
        self._last_count = None
