"""Crank pulses, passing time and what torque says in; what the handle does and how far it turned out.

Silence is an input. A lost pulse or a double one does no harm: one is waited for where torque says that the handle
turns, and the count is put right when the next pulse shows what it was.
"""

from __future__ import annotations

from winding_coach.signals.reading import CrankState
from winding_coach.signals.tuning import (
    DOUBLE_PULSE,
    LOSSY,
    LOSSY_FIRST,
    LOST_PULSE,
    STALL_AGREES,
    STALL_DOUBTS,
    STALL_EARLY_PERIODS,
    STALL_FIRST_S,
    STALL_LONGEST_S,
    STALL_LOST_PERIODS,
    STALL_PERIODS,
)


class PulseCrank:
    """The handle from pulses. `score` is what torque says: log odds that it stands, None where it cannot tell.

    Stalled when no pulse came for 1.3 usual periods, if torque does not contradict; sooner if it agrees, at 2.25
    in any case. Without torque a meter that has lost pulses is given the time of two. Before there is a period: 1.5 s.
    """

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        self.state = CrankState.UNKNOWN
        self.period_s: float | None = None
        self.score: float | None = None
        self._pulse_s: float | None = None
        self._first_s: float | None = None
        self._direction = 1.0
        self._odd: str | None = None
        self._odd_s = 0.0
        self._stood = False
        self._long_s = 0.0
        self._lossy = LOSSY_FIRST

    def moved(self, t_s: float, change: float) -> float:
        """The count changed by `change` (not 0) at t_s; returns what the count must be put right by."""
        direction = 1.0 if change > 0 else -1.0
        amends = 0.0
        if self._pulse_s is None or direction != self._direction:
            self.period_s, self._odd = None, None
        else:
            interval = (t_s - self._pulse_s) / abs(change)
            if self._is_double(interval):
                self._odd = "double"
                return -change
            amends = self._judge(interval, direction)
        self._direction = direction
        self._pulse_s = t_s
        self._stood = False
        self.state = CrankState.TURNING if direction > 0 else CrankState.REVERSING
        return amends

    def _is_double(self, interval: float) -> bool:
        """A second pulse right after one is a bounce; again at once, and the handle really is that fast."""
        return self.period_s is not None and interval < DOUBLE_PULSE * self.period_s and self._odd != "double"

    def _judge(self, interval: float, direction: float) -> float:
        usual = self.period_s
        if usual is None:
            self.period_s = interval
            return 0.0
        if self._odd == "lost":
            # It was a lost pulse if the one after comes in time again, and the handle was not seen to stand.
            was_lost = interval < LOST_PULSE[0] * usual
            self._odd = None
            self.period_s = interval if was_lost else self._odd_s
            if was_lost:
                self._lossy += (1.0 - self._lossy) * 0.25
                return direction
            return 0.0
        self._lossy *= 0.995
        self._odd = None
        if LOST_PULSE[0] * usual < interval < LOST_PULSE[1] * usual:
            if not self._stood:
                self._odd, self._odd_s = "lost", interval
                return 0.0
            self._lossy += (1.0 - self._lossy) * 0.25  # a stop of just one turn is more likely no stop
        # After a stall the long interval is no period: the usual one stays, unless the next is as long.
        if not self._stood or interval < 2.0 * usual or abs(interval - self._long_s) < 0.3 * interval:
            self.period_s = interval
        self._long_s = interval if self._stood else 0.0
        return 0.0

    def at(self, t_s: float) -> None:
        """It is t_s now and no pulse came."""
        if self._first_s is None:
            self._first_s = t_s
        since = t_s - (self._first_s if self._pulse_s is None else self._pulse_s)
        score = self.score
        if self.period_s is None:
            stalled = since > STALL_FIRST_S
        else:
            periods = since / self.period_s
            if score is None:
                stalled = periods > (STALL_LOST_PERIODS if self._lossy > LOSSY else STALL_PERIODS)
            elif score > STALL_AGREES:
                stalled = periods > STALL_EARLY_PERIODS
            else:
                stalled = periods > (STALL_LOST_PERIODS if score < STALL_DOUBTS else STALL_PERIODS)
            stalled = stalled or since > STALL_LONGEST_S
        if stalled:
            self.state = CrankState.STALLED
            self._stood = True

    def rev_per_s(self, t_s: float) -> float | None:
        """Speed of the handle, negative in reverse; falls as a pulse is overdue, 0 in a stall, None when not known."""
        if self.state is CrankState.STALLED:
            return 0.0
        if self.period_s is None or self._pulse_s is None:
            return None
        return self._direction / max(self.period_s, t_s - self._pulse_s)
