"""The moderate rate: the torque rise per turn of the crank that the plan asks for here, and its band per second. Pure.

Slope of the plan per crank turn, times a moderate crank; gauge, alarms, summary and plan use these same figures.
"""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.said import Phase
from winding_coach.rubber.path import PlanPath

SLOWEST_REV_PER_S = 0.4
QUICKEST_REV_PER_S = 1.7
"""Moderate cranking of a hand winder: common practice, no source."""
SLACK_SHARE = 0.012
"""Share of the peak, a second, that ripple may add either way."""
STEP_SLACK_SHARE = 0.10
"""In the walk-in each step-in takes torque down and cranking restores it: so much, a second, either way."""


class RateBand:
    """`at(phase, turns)` gives the band in N·m/s, (None, None) where there is none to keep."""

    def __init__(self, limits: Limits, path: PlanPath) -> None:
        self._limits = limits
        self._path = path
        self._slack = SLACK_SHARE * limits.peak_Nm
        self._step_slack = STEP_SLACK_SHARE * limits.stretched_Nm
        climb = max(limits.target_turns - limits.walked_in_turns, limits.ratio)
        self._usual = {
            Phase.WIND_STRETCHED: limits.stretched_Nm / max(limits.stretched_turns, limits.ratio),
            Phase.WALK_IN: 0.0,
            Phase.FINAL_TURNS: max(limits.peak_Nm - limits.stretched_Nm, 0.0) / climb,
        }

    def per_crank_turn(self, phase: Phase, turns: float | None) -> float | None:
        """Return the rise that the next turn of the crank should bring, in N·m; None in phases that want none.

        Without counted turns, the phase's mean slope serves.
        """
        usual = self._usual.get(phase)
        if usual is None:
            return None
        ratio = self._limits.ratio
        if turns is not None and turns < self._limits.target_turns:
            return self._path.torque_at(turns + ratio) - self._path.torque_at(turns)
        return usual * ratio

    def at(self, phase: Phase, turns: float | None) -> tuple[float | None, float | None]:
        """Return the lower and upper edge, in N·m a second."""
        return self.about(phase, self.per_crank_turn(phase, turns))

    def about(self, phase: Phase, per_crank: float | None) -> tuple[float | None, float | None]:
        """Return the edges for the rise that the next turn of the crank should bring."""
        if per_crank is None:
            return None, None
        low, high = per_crank * SLOWEST_REV_PER_S, per_crank * QUICKEST_REV_PER_S
        slack = self._step_slack if phase is Phase.WALK_IN else self._slack
        return min(low, high) - slack, max(low, high) + slack
