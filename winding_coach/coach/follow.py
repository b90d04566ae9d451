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


HOLDS, FORGETS_S = 0.98, 2.5
"""Torque within this share of its top has not begun to fall; a top that torque only drifts away from is forgotten."""
GOES_ON_TURNS = 60.0
"""Turns counted since torque was last lowest: what fell was a walk, and the crank goes on."""


class Edge:
    """Where torque was before its last fall: `at_s` and `turns`. A wind that ends is over there."""

    def __init__(self) -> None:
        self.at_s = 0.0
        self.turns: float | None = None
        self._before_s: float | None = None
        self._top_Nm = 0.0
        self._low: tuple[float, float | None] | None = None

    def tell(self, at_s: float, torque_Nm: float, turns: float | None) -> None:
        """Take one moment of winding."""
        passed = 0.0 if self._before_s is None else at_s - self._before_s
        self._before_s = at_s
        if self._low is not None and not self._comes_back(torque_Nm, turns):
            if torque_Nm < self._low[0]:
                self._low = torque_Nm, turns
            return
        if self._low is not None:
            self._low, self._top_Nm = None, torque_Nm
        off = torque_Nm - self._top_Nm
        self._top_Nm += off if off > 0.0 else off * min(passed / FORGETS_S, 1.0)
        if torque_Nm >= HOLDS * self._top_Nm:
            self.at_s, self.turns = at_s, turns
        elif torque_Nm < (1.0 - FELL) * self._top_Nm:
            self._low = torque_Nm, turns

    def _comes_back(self, torque_Nm: float, turns: float | None) -> bool:
        assert self._low is not None
        low_Nm, low_turns = self._low
        on = 0.0 if turns is None or low_turns is None else turns - low_turns
        return torque_Nm > (1.0 + RECOVERS) * low_Nm or on > GOES_ON_TURNS
