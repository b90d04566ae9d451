"""What is measured while a wound motor is let down: a still zero, and the turns of the crank. Pure."""

from __future__ import annotations

import math
from collections import deque
from statistics import fmean

from winding_coach.meter.reader import TorqueSample

ZERO_STILL_S, ZERO_SHARE = 2.0, 0.04
"""A zero is taken when the reading has been within this share of the launch torque for so long."""
SPEED_OVER_S = 1.5


class StillZero:
    """A still reading about nothing, for a zero."""

    def __init__(self, within_Nm: float) -> None:
        self._within_Nm = within_Nm
        self._seen: deque[tuple[float, float, int]] = deque(maxlen=2000)

    def add(self, t_s: float, torque_Nm: float, raw: int) -> float | None:
        """Take a reading; return the zero once it has been still for long enough."""
        self._seen.append((t_s, torque_Nm, raw))
        while t_s - self._seen[0][0] > ZERO_STILL_S:
            self._seen.popleft()
        torques = [m for _, m, _ in self._seen]
        spread, level = max(torques) - min(torques), abs(fmean(torques))
        if t_s - self._seen[0][0] < 0.95 * ZERO_STILL_S or spread > self._within_Nm or level > 2 * self._within_Nm:
            return None
        return self.now()

    def now(self) -> float | None:
        """Return the mean raw reading of the last seconds, None without one or with something on the hook."""
        if not self._seen or abs(fmean(m for _, m, _ in self._seen)) > 2.0 * self._within_Nm:
            return None
        return fmean(raw for _, _, raw in self._seen)


class LetDownCount:
    """Turns of the crank let off since the motor was hooked up, by pulses or taps, and the work they gave."""

    def __init__(self, ratio: float) -> None:
        self.source = "unknown"
        self.resolution = 1.0
        self.so_far = 0.0
        self.work_J = 0.0
        self.rev_per_s = 0.0
        self._ratio = ratio
        self._first: float | None = None
        self._at_empty: float | None = None
        self._torque_Nm = 0.0
        self._times: deque[tuple[float, float]] = deque(maxlen=2000)

    @property
    def moved(self) -> bool:
        """Whether the crank has turned."""
        return self.so_far > 0.0

    @property
    def crank_turns(self) -> float | None:
        """Turns of the crank until torque had run out, None where nobody counted."""
        if self.source == "unknown":
            return None
        return self.so_far if self._at_empty is None else self._at_empty

    def begin(self, t_s: float, sample: TorqueSample, torque_Nm: float) -> None:
        """The motor is on the hook, nothing turns."""
        self._first, self._torque_Nm = sample.crank_turns, torque_Nm
        self._times.append((t_s, 0.0))
        if sample.crank_turns is not None:
            self.source, self.resolution = "counted", 1.0 / sample.pulses_per_turn

    def tap(self) -> None:
        """A helper saw one turn of the crank."""
        if self.source != "counted":
            self.source = "tapped"
            self._went(self.so_far + 1.0, self._torque_Nm)

    def add(self, t_s: float, sample: TorqueSample, torque_Nm: float, *, empty: bool) -> None:
        """Take a line while the motor is let down."""
        if sample.crank_turns is not None and self._first is not None:
            # A one-sensor crank counts up whichever way it turns, a two-sensor one tells; here it only goes back.
            self._went(abs(sample.crank_turns - self._first), torque_Nm)
        self._torque_Nm = torque_Nm
        self._times.append((t_s, self.so_far))
        while t_s - self._times[0][0] > SPEED_OVER_S:
            self._times.popleft()
        passed_s = t_s - self._times[0][0]
        self.rev_per_s = (self.so_far - self._times[0][1]) / passed_s if passed_s > 0.5 else 0.0
        if not empty:
            self._at_empty = None
        elif self._at_empty is None:
            # Since the last pulse the crank went on, half a pulse's way on average.
            self._at_empty = self.so_far + self.resolution / 2.0

    def _went(self, turns: float, torque_Nm: float) -> None:
        """Add the work of the turns since the last line: torque times angle (trapezium)."""
        more = turns - self.so_far
        self.work_J += 2.0 * math.pi * self._ratio * more * (self._torque_Nm + torque_Nm) / 2.0
        self.so_far = turns
