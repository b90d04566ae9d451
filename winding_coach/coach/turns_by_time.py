"""Turns where nothing counts them: from the time that the torque took at full stretch, carried on as time goes. Pure.

Torque at full stretch gives turns by the plan, and their pace; the walk-in then runs on at that pace. Good to some
10 % of the walk-in (simulated), enough to know about where on its path one is; no limit rests on it.
"""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase
from winding_coach.rubber.path import PlanPath

FROM_SHARE = 0.35
"""Of the full-stretch torque: below it a wrong zero weighs too much."""
WALK_IN_PACE_SHARE = 0.88
"""The crank goes slower by this in the walk-in, whose torque is higher; assumed."""
SLOWEST, QUICKEST = 3.0, 30.0
"""Turns of the motor a second that a hand can do on any winder; beyond them the clock was not the crank's."""
USUAL_REV_PER_S = 1.1


class TurnsByTime:
    """`tell` it each moment; `turns` and `per_s` are None until the walk-in begins."""

    def __init__(self, path: PlanPath, limits: Limits) -> None:
        self._path = path
        self._limits = limits
        self._from: tuple[float, float] | None = None
        self._cranked_s = 0.0
        self._counted: float | None = None
        self._before_s: float | None = None
        self.turns: float | None = None
        self.per_s: float | None = None

    def tell(self, now: Moment) -> None:
        """Take one moment."""
        before_s, self._before_s = self._before_s, now.at_s
        if now.counted:
            # A sensor that dies later leaves its last count.
            self._counted = now.turns
            return
        passed = 0.0 if before_s is None else min(max(now.at_s - before_s, 0.0), 0.5)
        if now.torque_Nm is None:
            return
        if now.cranking is not False:
            self._cranked_s += passed
        if now.phase is Phase.WIND_STRETCHED and self.turns is None:
            if self._from is None and now.torque_Nm >= FROM_SHARE * self._limits.stretched_Nm:
                self._from = self._cranked_s, self._at(now.torque_Nm)
        elif now.phase is Phase.WALK_IN:
            if self.turns is None:
                self._begin(now.torque_Nm)
            elif self.per_s is not None and now.cranking is not False:
                self.turns = min(self.turns + WALK_IN_PACE_SHARE * self.per_s * passed, self._limits.walked_in_turns)

    def _begin(self, torque_Nm: float) -> None:
        by_torque = min(self._at(torque_Nm), 1.1 * self._limits.stretched_turns)
        self.turns = max(self._counted or 0.0, by_torque)
        self.per_s = USUAL_REV_PER_S * self._limits.ratio
        if self._from is not None and self._cranked_s > self._from[0] + 3.0:
            per_s = (self.turns - self._from[1]) / (self._cranked_s - self._from[0])
            self.per_s = min(max(per_s, SLOWEST), QUICKEST)

    def _at(self, torque_Nm: float) -> float:
        """Turns that the plan has at full stretch for a torque."""
        turns = self._path.turns_at_torque(torque_Nm, 0.0)
        return self._limits.stretched_turns if turns is None else turns
