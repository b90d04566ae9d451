"""The time after ready: how long since the peak, and whether torque has relaxed out of its band. Pure."""

from __future__ import annotations

from winding_coach.coach.limits import Limits
from winding_coach.coach.moment import Moment
from winding_coach.coach.said import Phase

LOW_SHARE, BACK_SHARE = 0.96, 0.98
"""Of the launch torque: below the first for `HELD_S` it has left its band, from the second on it is back. The band is
the one that the review gives full marks for; our own rule, no source."""
HOOKED_SHARE = 0.7
"""Less torque than this share is no relaxing: the motor is coming off the hook."""
HELD_S = 3.0


class Waiting:
    """Told each moment. low: torque is out of its band, below. handed_s: when the motor was last seen on the hook."""

    def __init__(self) -> None:
        self.low = False
        self.handed_s: float | None = None
        self._since_s: float | None = None

    def tell(self, now: Moment, limits: Limits) -> None:
        """Take one moment."""
        if now.phase is not Phase.READY:
            self.low, self._since_s = False, None
            return
        if now.torque_Nm is None or now.torque_Nm < HOOKED_SHARE * limits.launch_Nm:
            self.low, self._since_s = False, None
            return
        if now.gone_s == 0.0:
            self.handed_s = now.at_s
        share = now.torque_Nm / limits.launch_Nm
        if share >= BACK_SHARE:
            self.low, self._since_s = False, None
        elif share < LOW_SHARE:
            self._since_s = now.at_s if self._since_s is None else self._since_s
            self.low = self.low or now.at_s - self._since_s >= HELD_S


def turns_to_take_in(torque_Nm: float, limits: Limits) -> float:
    """Return the turns of the motor that bring torque back to the launch torque, a whole number from 1 on.

    By the plan's back-off the other way round: that branch is steep, so a few turns are enough.
    """
    per_turn_Nm = max(limits.peak_Nm - limits.launch_Nm, 1e-9) / max(limits.back_off_turns, 1.0)
    return float(max(round((limits.launch_Nm - torque_Nm) / per_turn_Nm), 1))
