"""Torque that has fallen and does not come back: a step or a back-off? Pure.

After a step the crank turns on and torque is back within seconds; after a back-off, or a walk to the hooks with the
crank still, it stays down. So what decides is whether it recovers, not how deep it fell.
"""

from __future__ import annotations

FELL = 0.06
"""Share below its top from which torque has fallen."""
RECOVERS = 0.04
"""Risen by this share above its lowest, it comes back: the crank turns on."""


class Fallen:
    """`tell` it torque; `lies_s` is how long it has been down without coming back."""

    def __init__(self) -> None:
        self._top_Nm = 0.0
        self._low_Nm = 0.0
        self._since_s: float | None = None
        self.lies_s = 0.0
        self.rises_s = 0.0
        self._rise_from: tuple[float, float] | None = None

    def tell(self, at_s: float, torque_Nm: float | None) -> None:
        """Take one moment's torque, None while it is not known."""
        if torque_Nm is None:
            return
        self._rising(at_s, torque_Nm)
        if self._since_s is None:
            self._top_Nm = max(self._top_Nm, torque_Nm)
            if torque_Nm < (1.0 - FELL) * self._top_Nm:
                self._since_s, self._low_Nm = at_s, torque_Nm
        elif torque_Nm > (1.0 + RECOVERS) * self._low_Nm:
            # What it recovers to is the top from which a next fall counts.
            self._since_s, self._top_Nm = None, torque_Nm
        else:
            self._low_Nm = min(self._low_Nm, torque_Nm)
        self.lies_s = 0.0 if self._since_s is None else at_s - self._since_s

    def _rising(self, at_s: float, torque_Nm: float) -> None:
        """For how long torque has risen without falling back by more than noise, and by something."""
        if self._rise_from is None or torque_Nm < self._rise_from[1]:
            self._rise_from = at_s, torque_Nm
        start_s, low = self._rise_from
        self.rises_s = at_s - start_s if torque_Nm > (1.0 + FELL) * low else 0.0
