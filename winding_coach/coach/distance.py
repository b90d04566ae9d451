"""The meter's distance, gated: what no place can be, and what no person can walk, has no effect. Pure.

A value that stays where it jumped to is believed after a while (the sensor was moved); one that does not come to its
senses is given up for the rest of the wind.
"""

from __future__ import annotations

NEAREST_SHARE, FARTHEST_SHARE, FARTHER_M = 0.3, 1.5, 1.0
"""Places outside of these shares of the hooks' and the stretch distance are none; assumed."""
WALK_M_PER_S, SLACK_M = 2.5, 0.08
"""No person with a wound motor in hand is faster; sensors are off by some centimetres. Assumed."""
BELIEVED_AFTER_S = 1.0
GIVEN_UP_AFTER_S = 3.0
UNCHANGED_S = 8.0
"""Who walks in is not for so long at one place to the millimetre."""


class DistanceGate:
    """`add` each line's distance; `distance_m` is the one to go by, None while there is none."""

    def __init__(self, hooks_m: float, stretch_m: float) -> None:
        self._nearest_m = NEAREST_SHARE * hooks_m
        self._farthest_m = FARTHEST_SHARE * stretch_m + FARTHER_M
        self.distance_m: float | None = None
        self.lost = False
        self._at_s = 0.0
        self._other_m: float | None = None
        self._other_at_s = self._other_from_s = 0.0
        self._first_s: float | None = None
        self._same_from_s = 0.0

    def add(self, t_s: float, distance_m: float | None) -> float | None:
        """Take a line: device seconds and what it says of the distance; return the distance to go by."""
        if self.lost or (distance_m is None and self._first_s is None):
            return None
        if self._first_s is None:
            self._first_s = self._at_s = t_s
        if distance_m is None or not self._nearest_m <= distance_m <= self._farthest_m:
            self._other_m = None
        elif self._walked(t_s, distance_m) or self._elsewhere(t_s, distance_m):
            self._take(t_s, distance_m)
            return self.distance_m
        if t_s - self._at_s > GIVEN_UP_AFTER_S:
            self.give_up()
        return self.distance_m

    def unchanged_s(self, t_s: float) -> float:
        """Return for how long the distance has been the same to the millimetre."""
        return t_s - self._same_from_s

    def give_up(self) -> None:
        """The sensor is not believed for the rest of the wind."""
        self.lost, self.distance_m = True, None

    def restart(self) -> None:
        """The meter began anew: its clock may stand elsewhere, the person too."""
        self.distance_m = self._other_m = self._first_s = None

    def _walked(self, t_s: float, distance_m: float) -> bool:
        """Whether a person can have come there since."""
        return self.distance_m is None or abs(distance_m - self.distance_m) <= self._reach(t_s - self._at_s)

    @staticmethod
    def _reach(passed_s: float) -> float:
        return SLACK_M + WALK_M_PER_S * max(passed_s, 0.0)

    def _elsewhere(self, t_s: float, distance_m: float) -> bool:
        """Whether the sensor has said that it is over there for so long that it is."""
        beside = self._other_m
        if beside is None or abs(distance_m - beside) > self._reach(t_s - self._other_at_s):
            self._other_from_s = t_s
        self._other_m, self._other_at_s = distance_m, t_s
        return t_s - self._other_from_s >= BELIEVED_AFTER_S

    def _take(self, t_s: float, distance_m: float) -> None:
        if distance_m != self.distance_m:
            self._same_from_s = t_s
        self.distance_m, self._at_s, self._other_m = distance_m, t_s, None
