"""Torque and its slow rate in; whether a limit is near or coming, and in how many seconds, out.

An oracle that knew the true trend did no better on the tuning streams: the next step towards the model cannot be known.
"""

from __future__ import annotations

import math

from winding_coach.base.values import value
from winding_coach.signals.tuning import (
    LIMIT_AHEAD_S,
    LIMIT_CLEAR_Z,
    LIMIT_FIRE_Z,
    LIMIT_NEAR,
    LIMIT_NEAR_CLEAR,
    LIMIT_RATE_SD,
    LIMIT_TORQUE_SD,
)


@value(frozen=True, slots=True)
class LimitView:
    """coming: the limit is seconds away or near. near: the torque is within the hard margin below it.
    over: it is passed. in_s: seconds at the present slow rate, 0 when over, None when it is not rising.
    """

    coming: bool
    near: bool
    over: bool
    in_s: float | None


class LimitPredictor:
    """Fires when the torque expected in 6 s passes the limit by one standard deviation; clears 0.7 lower."""

    def __init__(self, full_scale_Nm: float) -> None:
        self._scale_Nm = full_scale_Nm
        self._spread_Nm = full_scale_Nm * math.hypot(LIMIT_TORQUE_SD, LIMIT_RATE_SD * LIMIT_AHEAD_S)
        self._ahead = False
        self._near = False

    def update(self, torque_Nm: float, rate_slow_Nm_per_s: float | None, limit_Nm: float) -> LimitView:
        """Judge the present torque and slow rate (None: only the hard margin) against a limit."""
        rise = max(rate_slow_Nm_per_s or 0.0, 0.0)
        left = limit_Nm - torque_Nm
        z = (LIMIT_AHEAD_S * rise - left) / self._spread_Nm
        self._ahead = z > (LIMIT_CLEAR_Z if self._ahead else LIMIT_FIRE_Z)
        self._near = left < self._scale_Nm * (LIMIT_NEAR_CLEAR if self._near else LIMIT_NEAR)
        in_s = 0.0 if left <= 0.0 else left / rise if rise * 3600.0 > left else None
        return LimitView(self._ahead or self._near, self._near, left <= 0.0, in_s)

    def reset(self) -> None:
        self._ahead = self._near = False
