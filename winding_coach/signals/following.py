"""The torque for people to look at: the smoothed one, but a jump shows at once, as the gated samples have it.

Smoothing needs half a second to believe a jump. Eyes may see it first; rates, alarms and advice wait for the smoothing.
"""

from __future__ import annotations

import math

from winding_coach.signals.tuning import (
    SHOW_FOLLOW_S,
    SHOW_LEAST,
    SHOW_LEAVE,
    SHOW_LONGEST_S,
    SHOW_MEAN_S,
    SHOW_NEAR_S,
    SHOW_SD,
)


class Follower:
    """`add` takes gated and smoothed torque; `shown(smoothed)` is what to show until the next."""

    def __init__(self, full_scale_Nm: float) -> None:
        self._least_Nm = SHOW_LEAST * full_scale_Nm
        self._leave_Nm = SHOW_LEAVE * full_scale_Nm
        self.reset()

    def reset(self) -> None:
        """Nothing is known."""
        self._spread2 = 0.0
        self._at_s: float | None = None
        self._left_s: float | None = None
        self._near_s = 0.0
        self._torque = 0.0

    def add(self, t_s: float, gated_Nm: float, smoothed_Nm: float) -> None:
        """Take the newest gated sample and the smoothed torque of that moment."""
        step_s = 0.0 if self._at_s is None else t_s - self._at_s
        self._at_s = t_s
        off = gated_Nm - smoothed_Nm
        if self._left_s is not None:
            away_s = t_s - self._left_s
            self._torque += (gated_Nm - self._torque) * min(step_s / min(away_s, SHOW_MEAN_S), 1.0)
            # Smoothing swings past a jump before it settles: it must stay near for a while.
            self._near_s = self._near_s + step_s if abs(self._torque - smoothed_Nm) <= self._leave_Nm else 0.0
            if self._near_s >= SHOW_NEAR_S or away_s > SHOW_LONGEST_S:
                self._left_s = None
        elif abs(off) > max(self._least_Nm, SHOW_SD * math.sqrt(self._spread2)):
            self._left_s, self._near_s, self._torque = t_s, 0.0, gated_Nm
        # Ripple and noise raise the spread within a turn of the crank, so that they are not followed.
        self._spread2 += (off * off - self._spread2) * min(step_s / SHOW_FOLLOW_S, 1.0)

    def shown(self, smoothed_Nm: float) -> float:
        """Return the torque to show."""
        return smoothed_Nm if self._left_s is None else self._torque
