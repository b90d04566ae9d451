"""A prompt before it is put into words, and the one that fits where taps alone carry a wind on. Pure."""

from __future__ import annotations

from winding_coach.base.values import value
from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase

FEET = frozenset({"walk_on", "walk_slower", "walk_quicker", "wait_here", "step_now", "step_shorter"})
"""Words of the walk-in led by torque; the lead paces them itself."""
STOPS_S = 2.0
"""So long the stop is said, before the back-off."""


@value(frozen=True, slots=True)
class Wanted:
    """A prompt before it is put into words."""

    code: str
    distance_m: float | None = None
    crank_turns: float | None = None
    torque_Nm: float | None = None
    turns: float | None = None
    peak_Nm: float | None = None
    side: str | None = None
    next_Nm: float | None = None
    step_m: float | None = None
    step_was: str | None = None
    again: int = 0

    def same_as(self, other: Wanted) -> bool:
        """Whether saying this after `other` would only repeat it."""
        if self.code != other.code:
            return False
        if self.code == "count_on":
            return (self.crank_turns, self.distance_m) == (other.crank_turns, other.distance_m)
        if self.code in ("walk_in_to", "hold_distance"):
            return self.distance_m == other.distance_m
        if self.code == "stop_at_peak":
            return self.distance_m in (None, other.distance_m)
        if self.code == "back_off":
            return self.crank_turns == other.crank_turns
        if self.code == "launch_or_wind":
            return self.turns == other.turns
        if self.code in FEET:
            return self.again == other.again
        if self.code == "crank_slower":
            return (self.distance_m is None, self.torque_Nm is None) == (
                other.distance_m is None,
                other.torque_Nm is None,
            )
        return True


def by_taps(now: Moment, limits: Limits, mark_m: float | None) -> Wanted:
    """Return what to say while the meter is gone and a key is pressed at each crank turn: how many are left.

    mark_m: where to be by the plan, in the walk-in.
    """
    turns = now.turns or 0.0
    if now.phase is not Phase.BACK_OFF:
        left = max(round((limits.target_turns - turns) / limits.ratio), 0)
        return Wanted("count_on", distance_m=mark_m, crank_turns=float(left))
    if now.in_phase_s < STOPS_S:
        return Wanted("stop_at_peak")
    off = turns - (limits.target_turns - limits.back_off_turns)
    return Wanted("back_off", crank_turns=max(round(2.0 * off / limits.ratio) / 2.0, 0.5), torque_Nm=limits.launch_Nm)
