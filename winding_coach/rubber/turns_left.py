"""How many turns are in a wound motor, from the torque that it shows when it is stretched out. Pure.

At the hooks torque cannot tell: on the way back it hardly changes over the middle half of the turns, and it is nothing
while the strands are slack. Stretched to some loop lengths it rises steadily with the turns, whatever the motor has
gone through: in the model it is 0.91 of the law without history from 5 to 50 % of the turns and from 3 to 5 lengths
(0.89 to 0.92, `tests/rubber/test_turns_left.py`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber, torque_Nm
from winding_coach.rubber.motor import breaking_turns, geometry_of

STRETCH_LENGTHS = 4.0
"""Loop lengths to stretch it to; nearer, torque remembers the wind, farther it only pulls harder."""
AFTER_A_WIND = 0.91
"""Torque of a motor that was wound, over the law without history; from the history model."""
KNOWN_CV, LABEL_CV = 0.025, 0.08
"""Spread of torque about that where this motor's own peak is known, and by its label alone; assumed."""
MOST_SHARE = 0.6
"""Of the breaking turns at the hooks: a motor with more in it is not stretched out."""


@dataclass(frozen=True, slots=True)
class TurnsLeft:
    """Turns of the motor still on it, with their standard deviation."""

    turns: float
    sd: float


class StretchedMotor:
    """One motor stretched out to `distance_m` with turns left in it.

    scale: its torque over its plan's, by the peak of its last wind; None where not known.
    """

    def __init__(
        self, motor: MotorFigures, hooks_m: float, scale: float | None = None, rubber: Rubber = DEFAULT_RUBBER
    ) -> None:
        """
        Raises:
            FiguresError: figures that no motor can have.
        """
        self._body = geometry_of(motor, rubber)
        self._rubber = rubber
        self._scale = AFTER_A_WIND * (1.0 if scale is None else scale)
        self._cv = LABEL_CV if scale is None else KNOWN_CV
        self._most = MOST_SHARE * breaking_turns(self._body, hooks_m, rubber)
        self.distance_m = STRETCH_LENGTHS * motor.loop_m
        self.most_Nm = self.torque_Nm(self._most)
        """With more torque it holds more turns than it should be stretched with."""
        inside = hooks_m < motor.loop_m
        self.slack_turns = self._body.turns(1.0, hooks_m) if inside else 0.0
        """Turns that show no torque at the hooks, where those are nearer than the loop is long: slack strands."""

    def torque_Nm(self, turns: float, distance_m: float | None = None) -> float:
        """Return the torque to expect with so many turns in it."""
        at_m = self.distance_m if distance_m is None else distance_m
        return self._scale * torque_Nm(self._body, at_m, turns, self._rubber)

    def turns_at(self, torque_Nm: float, noise_Nm: float = 0.0, distance_m: float | None = None) -> TurnsLeft:
        """Return the turns that show this torque. noise_Nm: its standard deviation by the meter's noise."""
        turns = self._inverse(torque_Nm, distance_m)
        doubt_Nm = math.hypot(self._cv * torque_Nm, noise_Nm)
        high, low = self._inverse(torque_Nm + doubt_Nm, distance_m), self._inverse(torque_Nm - doubt_Nm, distance_m)
        return TurnsLeft(turns, (high - low) / 2.0)

    def _inverse(self, wanted_Nm: float, distance_m: float | None) -> float:
        low, high = 0.0, self._most
        if wanted_Nm <= 0.0:
            return 0.0
        if self.torque_Nm(high, distance_m) <= wanted_Nm:
            return high
        for _ in range(40):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.torque_Nm(middle, distance_m) < wanted_Nm else (low, middle)
        return 0.5 * (low + high)
