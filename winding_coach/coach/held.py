"""Pulses of one sensor while torque falls from its top: put on in a step-in, or taken off by a hand that goes back.

Pure. Which of the two it is takes seconds to tell. Until then such turns are shown neither as put on nor as taken off;
rules go on with the count, which is the higher of both.
"""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import NEAR_PEAK
from winding_coach.coach.said import Phase

FALLS_FROM_TOP, FALLS_PER_S = 0.015, 0.02
"""Relaxation takes off this share of the top in seconds, and no quicker (share of the peak, a second)."""
CLIMBS_BY = 0.04
"""Torque that climbs by this share of the peak after its fall climbs by a crank that goes on."""


class HeldTurns:
    """`tell` each moment; returns how many of its turns are not decided yet."""

    def __init__(self) -> None:
        self._phase: Phase | None = None
        self._turns: float | None = None
        self._low_Nm: float | None = None

    def tell(self, now: Moment, limits: Limits, *, signed: bool) -> float:
        """Take a moment; signed: the crank tells its direction."""
        if now.phase is not self._phase:
            self._phase, self._low_Nm = now.phase, None
        torque_Nm, low_Nm = now.torque_Nm, self._low_Nm
        if torque_Nm is None and low_Nm is not None:
            return self._held(now)
        if signed or torque_Nm is None or not self._may_go_back(now, torque_Nm, limits):
            self._turns, self._low_Nm = now.turns, None
            return 0.0
        self._low_Nm = torque_Nm if low_Nm is None else min(low_Nm, torque_Nm)
        return self._held(now)

    def _held(self, now: Moment) -> float:
        return 0.0 if now.turns is None or self._turns is None else max(now.turns - self._turns, 0.0)

    def _may_go_back(self, now: Moment, torque_Nm: float, limits: Limits) -> bool:
        """Told to stop, or at the hooks, torque was near the target and falls; until it is back, or climbs."""
        if not now.counted or not (now.arriving or now.phase is Phase.FINAL_TURNS):
            return False
        top_Nm = now.phase_top_Nm
        if top_Nm < NEAR_PEAK * limits.peak_Nm or torque_Nm > (1.0 - FALLS_FROM_TOP) * top_Nm:
            return False
        if self._low_Nm is not None:
            return torque_Nm < self._low_Nm + CLIMBS_BY * limits.peak_Nm
        return now.rate_Nm_per_s is not None and now.rate_Nm_per_s < -FALLS_PER_S * limits.peak_Nm
