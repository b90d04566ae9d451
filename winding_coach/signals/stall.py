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
    STALL_SURELY_NOT,
    STALL_TWO_LOST_PERIODS,
)


class PulsePeriod:
    """The usual time of one turn from the moments of the pulses alone, so that it can be had of a record too.

    `take` returns "first", "turn", "lost" (twice the usual: a pulse may be missing), "was lost" (the next came in
    time again), "double" (a bounce) or "long" (a stop). `bounced`: one of the last change's pulses was a bounce within
    the line; two in the usual time of one are one and a bounce, two in the time of two came in a gap of lines.
    """

    def __init__(self) -> None:
        self.period_s: float | None = None
        self.pulse_s: float | None = None
        self.direction = 1.0
        self.bounced = False
        self._odd: str | None = None
        self._odd_s = 0.0

    def take(self, t_s: float, change: float) -> str:
        """The count changed by `change` (not 0) at t_s."""
        direction = 1.0 if change > 0 else -1.0
        self.bounced = False
        if self.pulse_s is None or direction != self.direction:
            self.period_s = self._odd = None
            kind = "first"
        else:
            interval = (t_s - self.pulse_s) / self._turns_of(t_s - self.pulse_s, abs(change))
            kind = self._judge(interval)
            if kind == "double":
                return kind
        self.pulse_s, self.direction = t_s, direction
        return kind

    def _turns_of(self, since_s: float, pulses: float) -> float:
        """Return how many turns so many pulses of one line were."""
        usual = self.period_s
        if usual is None or pulses < 2.0:
            return pulses
        fewer = pulses - 1.0
        self.bounced = abs(since_s / fewer - usual) < abs(since_s / pulses - usual)
        return fewer if self.bounced else pulses

    def _judge(self, interval: float) -> str:
        usual, odd, odd_s = self.period_s, self._odd, self._odd_s
        self._odd, self._odd_s = None, interval
        if usual is None:
            self.period_s = interval
            return "turn"
        if odd == "lost":
            was_lost = interval < LOST_PULSE[0] * usual
            self.period_s = interval if was_lost else odd_s
            return "was lost" if was_lost else "turn"
        if interval < DOUBLE_PULSE * usual and odd != "double":  # again at once, and the handle really is that fast
            self._odd = "double"
            return "double"
        if interval > LOST_PULSE[0] * usual and not (odd == "long" and abs(interval - odd_s) < 0.3 * interval):
            self._odd = "lost" if interval < LOST_PULSE[1] * usual else "long"
            return self._odd
        self.period_s = interval
        return "turn"


class PulseCrank:
    """The handle from pulses. `score` is what torque says: log odds that it stands, None where it cannot tell.

    Stalled when no pulse came for 1.3 usual periods, if torque does not contradict; sooner if it agrees, at 2.25
    if it contradicts, at 3.25 if it is quite sure that the handle turns. Without torque a meter that may lose pulses
    is given the time of two. Before there is a period: 1.5 s.
    """

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        self.state = CrankState.UNKNOWN
        self.score: float | None = None
        self._pulses = PulsePeriod()
        self._first_s: float | None = None
        self._stood = self._stood_before = False
        self._lossy = LOSSY_FIRST

    @property
    def period_s(self) -> float | None:
        """The usual time of one turn, None before two pulses."""
        return self._pulses.period_s

    @property
    def pulse_s(self) -> float | None:
        """When the last pulse came."""
        return self._pulses.pulse_s

    def overdue(self, t_s: float) -> tuple[float, float] | None:
        """(the last pulse, the usual period) where a turn should have ended by t_s and no stall is told yet."""
        pulses = self._pulses
        if self.state is not CrankState.TURNING or pulses.period_s is None or pulses.pulse_s is None:
            return None
        return (pulses.pulse_s, pulses.period_s) if t_s - pulses.pulse_s > pulses.period_s else None

    def moved(self, t_s: float, change: float) -> float:
        """The count changed by `change` (not 0) at t_s; returns what the count must be put right by."""
        kind = self._pulses.take(t_s, change)
        if kind == "double":
            return -change
        amends = -self._pulses.direction if self._pulses.bounced else 0.0
        if kind == "was lost" and not self._stood_before:
            self._lossy += (1.0 - self._lossy) * 0.25
            amends += self._pulses.direction
        elif kind == "lost" and self._stood:
            self._lossy += (1.0 - self._lossy) * 0.25  # a stop of just one turn is more likely no stop
        self._lossy *= 0.995
        self._stood_before, self._stood = self._stood, False
        self.state = CrankState.TURNING if self._pulses.direction > 0 else CrankState.REVERSING
        return amends

    def at(self, t_s: float) -> None:
        """It is t_s now and no pulse came."""
        if self._first_s is None:
            self._first_s = t_s
        since = t_s - (self._first_s if self._pulses.pulse_s is None else self._pulses.pulse_s)
        score = self.score
        if self.period_s is None:
            stalled = since > STALL_FIRST_S
        else:
            periods = since / self.period_s
            if score is None:
                stalled = periods > (STALL_LOST_PERIODS if self._lossy > LOSSY else STALL_PERIODS)
            elif score > STALL_AGREES:
                stalled = periods > STALL_EARLY_PERIODS
            elif score > STALL_DOUBTS:
                stalled = periods > STALL_PERIODS
            else:
                stalled = periods > (STALL_TWO_LOST_PERIODS if score < STALL_SURELY_NOT else STALL_LOST_PERIODS)
            stalled = stalled or since > STALL_LONGEST_S
        if stalled:
            self.state = CrankState.STALLED
            self._stood = True

    def rev_per_s(self, t_s: float) -> float | None:
        """Speed of the handle, negative in reverse; falls as a pulse is overdue, 0 in a stall, None when not known."""
        if self.state is CrankState.STALLED:
            return 0.0
        pulses = self._pulses
        if pulses.period_s is None or pulses.pulse_s is None:
            return None
        return pulses.direction / max(pulses.period_s, t_s - pulses.pulse_s)
