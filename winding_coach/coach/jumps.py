"""Torque that jumps from one line to the next and stays there: a zero or a gain that changed, not the motor. Pure.

A crank and feet change torque within a second, not within a line. What a person can do, walking in with a wound motor,
is left out: a step of a centimetre takes a tenth of the torque off far out (the rubber's law), so a quick stride is as
fast as a fault where lines are few, and then only the torque at the hooks tells.
"""

from __future__ import annotations

from collections import deque

SHARE = 0.06
"""Of the peak: less may be ripple, noise, a strand that slips."""
RISES_PER_S, FALLS_PER_S, STRIDES_PER_S = 2.0, 3.0, 14.0
"""Shares of the torque itself: rising by the crank or who steps out, falling by who lets go a little at the mark, and
by a stride in the walk-in; assumed."""
BEFORE_S, AFTER_S, STAYS_S, LONGEST_GAP_S = 0.5, 0.15, 0.9, 0.35
STAYS_SHARE = 0.75
"""Of the jump is still there after it: a touched lead is back, and what the crank brings meanwhile is little."""
GONE_SHARE = 0.06
"""Of the peak: torque that fell so low is gone, which has its own rule."""


class Jumps:
    """`add` each line's torque. `times`: torque after the last jump over that before, None while there was none."""

    def __init__(self, peak_Nm: float) -> None:
        self._peak_Nm = peak_Nm
        self.times: float | None = None
        self._recent: deque[tuple[float, float]] = deque(maxlen=200)
        self._jump: tuple[float, float, float] | None = None
        self._after: list[float] = []

    def add(self, t_s: float, torque_Nm: float, *, walking: bool) -> None:
        """Take a line: device seconds and torque; walking: the feet may be on their way in."""
        before = self._recent[-1] if self._recent else None
        self._recent.append((t_s, torque_Nm))
        if before is None:
            return
        passed_s = t_s - before[0]
        if not 0.0 < passed_s <= LONGEST_GAP_S:
            self._jump = None
            return
        if self._jump is not None:
            self._stays(t_s, torque_Nm)
            return
        change = torque_Nm - before[1]
        per_s = RISES_PER_S if change > 0.0 else STRIDES_PER_S if walking else FALLS_PER_S
        if abs(change) > SHARE * self._peak_Nm + per_s * passed_s * abs(before[1]):
            levels = [torque for at_s, torque in self._recent if before[0] - BEFORE_S <= at_s <= before[0]]
            self._jump, self._after = (t_s, sum(levels) / len(levels), change), []

    @property
    def pending(self) -> bool:
        """Whether a jump has been seen that may still go back."""
        return self._jump is not None

    def reset(self) -> None:
        """The meter or the link began anew, or the zero did: what is read now has no before."""
        self._recent.clear()
        self._jump = None

    def accept(self) -> None:
        """Somebody goes on all the same."""
        self.times = None

    def _stays(self, t_s: float, torque_Nm: float) -> None:
        """Whether what jumped is still there a moment later."""
        assert self._jump is not None
        at_s, level_Nm, change = self._jump
        if t_s - at_s > AFTER_S:
            self._after.append(torque_Nm)
        if t_s - at_s < STAYS_S or not self._after:
            return
        self._jump = None
        after_Nm = sum(self._after) / len(self._after)
        moved = after_Nm - level_Nm
        there = moved * change > 0.0 and abs(moved) >= STAYS_SHARE * abs(change)
        if there and level_Nm > 0.0 and after_Nm > GONE_SHARE * self._peak_Nm:
            self.times = after_Nm / level_Nm
