"""Raw samples in; the moment at which the torque was suddenly gone out.

It cannot tell a break from unhooking or a dead sensor: whoever words it must say so.
"""

from __future__ import annotations

from winding_coach.signals.tuning import (
    BREAK_ARMED,
    BREAK_BELOW,
    BREAK_REFERENCE_S,
    BREAK_WITHIN_S,
    BREAK_ZERO,
    BREAK_ZERO_OF_REFERENCE,
    tuning_for,
)


class BreakDetector:
    """`add` returns True once, at the sample that settles that the torque is gone.

    A reference follows the torque (0.15 s) and waits while a sample is below half of it. Torque is gone when, with
    the reference above the arming level, so many samples in a row are near zero, and the fall from above half took
    no longer than 0.25 s by the samples there are (a fall inside a gap of the data counts as quick).
    """

    def __init__(self, full_scale_Nm: float, lines_per_s: float = 80.0) -> None:
        self._armed_Nm = BREAK_ARMED * full_scale_Nm
        self._zero_Nm = BREAK_ZERO * full_scale_Nm
        self._run_needed = tuning_for(lines_per_s).break_run
        self.reset()

    def set_rate(self, lines_per_s: float) -> None:
        """The rate of the lines, once it is known."""
        self._run_needed = tuning_for(lines_per_s).break_run

    def reset(self) -> None:
        """Forget the torque so far (a new clock, a new motor)."""
        self.reference_Nm = 0.0
        self._before_s: float | None = None
        self._low_s: float | None = None
        self._run = 0

    def add(self, t_s: float, torque_Nm: float) -> bool:
        """Take a raw sample. Stamps that do not advance are skipped."""
        if self._before_s is None:
            self._before_s = t_s
            self.reference_Nm = max(torque_Nm, 0.0)
            return False
        step_s = t_s - self._before_s
        if step_s <= 0.0:
            return False
        self._before_s = t_s
        reference = self.reference_Nm
        if torque_Nm >= BREAK_BELOW * reference or reference < self._armed_Nm:
            self._run, self._low_s = 0, None
            self.reference_Nm += (max(torque_Nm, 0.0) - reference) * min(1.0, step_s / BREAK_REFERENCE_S)
            return False
        if self._low_s is None:
            self._low_s = t_s
        if abs(torque_Nm) < max(BREAK_ZERO_OF_REFERENCE * reference, self._zero_Nm):
            self._run += 1
            if self._run >= self._run_needed:
                self._let_go(torque_Nm)
                return True
        else:
            self._run = 0
            if t_s - self._low_s > BREAK_WITHIN_S:
                self._let_go(torque_Nm)
        return False

    def _let_go(self, torque_Nm: float) -> None:
        """Start following the torque again from where it is now."""
        self.reference_Nm = max(torque_Nm, 0.0)
        self._run, self._low_s = 0, None
