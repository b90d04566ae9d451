"""Crank counts, taps of a helper and ripple in; turns of the handle, how sure, and where they come from out."""

from __future__ import annotations

import math

from winding_coach.signals.reading import TurnsSource
from winding_coach.signals.tuning import GUESS_SHARE, GUESS_SHARE_BLIND, MOST_REV_PER_S, PUT_RIGHT_SD


class TurnCounter:
    """`turns` since the beginning, None while nothing has been counted. A new meter count never makes a jump.

    A count beats taps, taps beat the estimate: `source` says which it is, `sd` how far off it may be.
    """

    def __init__(self) -> None:
        self.turns: float | None = None
        self.source: TurnsSource = "unknown"
        self.sd: float | None = None
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
        if self.source != "counted":
            self.source = "counted"
            self.sd = self.sd or 0.0
        self.turns = change if self.turns is None else self.turns + change
        return change

    def put_right(self, turns: float) -> None:
        """A pulse was lost (+1) or came twice (−1), by what the pulses around it show."""
        self.turns = (self.turns or 0.0) + turns
        self.sd = math.hypot(self.sd or 0.0, PUT_RIGHT_SD)

    def tapped(self) -> None:
        """A helper saw one turn of the handle; ignored while the meter counts. An estimate so far is kept."""
        if self.source != "counted":
            self.turns = 1.0 if self.turns is None else self.turns + 1.0
            self.sd = self.sd or 0.0
            self.source = "tapped"

    def guessed(self, turns: float, seen: bool) -> None:
        """By its ripple the handle turned so much; seen: the ripple was clear, not only remembered."""
        if self.source not in ("counted", "tapped"):
            self.turns = (self.turns or 0.0) + turns
            self.sd = (self.sd or 0.0) + abs(turns) * (GUESS_SHARE if seen else GUESS_SHARE_BLIND)
            self.source = "estimated"

    def sensor_lost(self) -> None:
        """The meter's count is not to be trusted from here: the turns stay, and go on once the ripple tells of any."""
        if self.source == "counted":
            self.source = "unknown"
        self._last_count = None

    def new_clock(self) -> None:
        """The meter's count and clock may begin anew; the turns stay."""
        self._last_count = None


class RippleTurns:
    """Turns that nothing counts, bin by bin, by the time of a turn that the ripple shows."""

    def __init__(self, turns: TurnCounter) -> None:
        self._turns = turns
        self.reset()

    def reset(self) -> None:
        """Torque begins anew."""
        self._begun = False
        self._fell = 0.0

    def add(self, turned: float, span: int, falls: bool, goes_back: bool, clear: bool) -> None:
        """Take the turns of a bin; span: bins over which the ripple was found; falls: torque may be being let down.

        goes_back: it is, and what was added since it began to fall comes off. clear: the ripple is.
        """
        if not self._begun:  # the window in which the ripple was found was a window of turning
            turned *= span
            self._begun = True
        if goes_back:
            turned = -turned - 2.0 * self._fell
            self._fell = 0.0
        else:
            self._fell = self._fell + turned if falls else 0.0
        self._turns.guessed(turned, clear)
