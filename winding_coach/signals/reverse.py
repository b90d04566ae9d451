"""Rate of the torque in; whether the handle turns backwards, and by how much a one-sensor count must be corrected.

One sensor counts up in either direction, so only the torque shows that turns come off: it falls quickly from near the
peak. Lower down a quick fall is a step towards the model; torque alone could not tell the two apart there.
"""

from __future__ import annotations

from winding_coach.signals.tuning import REVERSE_CLEAR, REVERSE_FALL, REVERSE_RATE, REVERSE_TOP


class ReverseWatch:
    """`backwards`: turns come off. `sure`: the fall is so deep that the count is corrected."""

    def __init__(self, full_scale_Nm: float) -> None:
        self._scale_Nm = full_scale_Nm
        self.reset()

    def reset(self) -> None:
        self.backwards = False
        self.sure = False
        self._top_Nm = 0.0
        self._since_top = 0.0

    def pulse(self, change: float) -> float:
        """The count went up by `change`; returns what to add to the turns because it went backwards."""
        if self.sure:
            return -2.0 * change
        self._since_top += change
        return 0.0

    def tick(self, torque_Nm: float, rate_Nm_per_s: float, may_turn: bool) -> float:
        """Take torque and its fast rate; returns what to add to turns counted since the top.

        may_turn: False when the handle stands or the hooks are being walked together.
        """
        rate = rate_Nm_per_s / self._scale_Nm
        high = self._top_Nm > REVERSE_TOP * self._scale_Nm
        self.backwards = may_turn and high and rate < (REVERSE_CLEAR if self.backwards else REVERSE_RATE)
        if self.backwards:
            if not self.sure and self._top_Nm - torque_Nm > REVERSE_FALL * self._scale_Nm:
                self.sure = True
                counted, self._since_top = self._since_top, 0.0
                return -2.0 * counted
            return 0.0
        self.sure = False
        if rate > REVERSE_CLEAR:
            self._top_Nm, self._since_top = torque_Nm, 0.0
        return 0.0
