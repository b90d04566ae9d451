"""Crank pulses and passing time in; whether the handle turns, stands or goes backwards out. Silence is an input."""

from __future__ import annotations

from winding_coach.signals.reading import CrankState
from winding_coach.signals.tuning import STALL_FIRST_S, STALL_LONGEST_S, STALL_PERIODS


class PulseCrank:
    """The handle's state from pulses alone.

    Stalled when no pulse came for 1.3 times the shorter of the last two periods: of two, because a stall or a
    missed pulse makes one period long. Before there is a period, when none came for 1.5 s.
    """

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        self.state = CrankState.UNKNOWN
        self.period_s: float | None = None
        self._period_before_s: float | None = None
        self._pulse_s: float | None = None
        self._first_s: float | None = None
        self._direction = 1.0

    def moved(self, t_s: float, change: float) -> None:
        """The count changed by `change` (not 0) at t_s."""
        direction = 1.0 if change > 0 else -1.0
        if self._pulse_s is not None and direction == self._direction:
            period = (t_s - self._pulse_s) / abs(change)
            self._period_before_s, self.period_s = self.period_s, period
        else:
            self._period_before_s = self.period_s = None
        self._direction = direction
        self._pulse_s = t_s
        self.state = CrankState.TURNING if direction > 0 else CrankState.REVERSING

    def at(self, t_s: float) -> None:
        """It is t_s now and no pulse came."""
        if self._first_s is None:
            self._first_s = t_s
        since = t_s - (self._first_s if self._pulse_s is None else self._pulse_s)
        if since > self._patience_s():
            self.state = CrankState.STALLED

    def _patience_s(self) -> float:
        if self.period_s is None:
            return STALL_FIRST_S
        usual = self.period_s if self._period_before_s is None else min(self.period_s, self._period_before_s)
        return min(STALL_PERIODS * usual, STALL_LONGEST_S)

    def rev_per_s(self, t_s: float) -> float | None:
        """Speed of the handle, negative in reverse; falls as a pulse is overdue, 0 in a stall, None when not known."""
        if self.state is CrankState.STALLED:
            return 0.0
        if self.period_s is None or self._pulse_s is None:
            return None
        return self._direction / max(self.period_s, t_s - self._pulse_s)
