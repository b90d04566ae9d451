"""This motor, live: one torque scale fitted while winding at full stretch and carried on slowly. Pure.

A second live parameter made predictions worse in the design's prototypes, so there is one.
"""

from __future__ import annotations

import math

from winding_coach.coach.limits import Limits
from winding_coach.coach.said import Phase
from winding_coach.rubber.path import PlanPath

FROM_SHARE = 0.35
"""At full stretch the scale is fitted from this share of its turns on; before, zero errors weigh too much."""
CARRY_S = 3.5
"""Time constant with which the last turns at the hooks correct it; found in the closed loop (simulated)."""
LEAST, MOST = 0.80, 1.08
"""The peak is moved no further: up by what motors of one label scatter (assumed), for a motor that holds turns, lost
pulses and a stiff motor look alike; down as far as it is not in doubt anyway."""
LEAST_IN_DOUBT = 0.05
COUNT_TRUSTED = 0.75
"""So much of what the last turns show is put down to the motor, the rest to pulses that were lost."""
PLACE_UNKNOWN = 0.4
"""Where nobody measures how far out they stand, so much of what full stretch shows is put down to the motor: people
stand up to 15 % beside the mark, and torque goes with it (assumed, simulated)."""
SURE_AFTER_TURNS = 60.0
TURNED_S = 1.6
"""Turns that have stood so long say nothing of the torque: the hand rests, or the sensor is dead."""
CLIMB_SHARE = 0.3
"""The last turns correct it from this share of the climb on: before, torque still remembers the last steps."""


STEPPED = 0.90
"""Torque that has fallen below this share of its highest there is that of a step, or of a back-off, not the motor's."""


class LiveScale:
    """`scale`: this motor's torque over the plan's, 1 until enough has been seen; `known` tells which. `ratio`: the
    same without the bounds that the scale is held in, None until known; `at_stretch`: that at full stretch."""

    def __init__(self, limits: Limits, path: PlanPath) -> None:
        self._limits = limits
        self._path = path
        self._seen = 0.0
        self._expected = 0.0
        self._corrects_from = limits.walked_in_turns + CLIMB_SHARE * (limits.target_turns - limits.walked_in_turns)
        self._first_turns: float | None = None
        self._trusted = PLACE_UNKNOWN
        self._before_s: float | None = None
        self._turns: float | None = None
        self._turned_s = 0.0
        self._least, self._most = LEAST, MOST
        self._top_Nm = 0.0
        self._held_low = False
        self.scale = 1.0
        self.ratio: float | None = None
        self.at_stretch: float | None = None
        self.known = False

    def hold_low(self, of_plan: float | None = None) -> None:
        """The label is in doubt: from now on the lower of both targets, the label's and this motor's.

        of_plan: torque over the label's as it was seen so far.
        """
        self._least, self._most, self._trusted, self._held_low = LEAST_IN_DOUBT, 1.0, 1.0, True
        seen = [ratio for ratio in (self.ratio, of_plan) if ratio is not None]
        if self.ratio is not None:
            self._set(min(seen))
        elif seen:
            self.scale = min(max(min(seen), self._least), self._most)

    def tell(
        self, at_s: float, phase: Phase, torque_Nm: float | None, turns: float | None, distance_m: float | None
    ) -> None:
        """Take one moment; turns must be counted ones, or None."""
        passed = 0.0 if self._before_s is None else at_s - self._before_s
        self._before_s = at_s
        if turns != self._turns:
            self._turns, self._turned_s = turns, at_s
        if torque_Nm is not None and _last_turns(phase, distance_m):
            self._top_Nm = max(self._top_Nm, torque_Nm)
        if torque_Nm is None or turns is None or passed <= 0.0 or at_s - self._turned_s > TURNED_S:
            return
        limits = self._limits
        if phase is Phase.WIND_STRETCHED and turns >= FROM_SHARE * limits.stretched_turns:
            expected = self._path.torque_at(min(turns, limits.stretched_turns))
            if distance_m is not None:
                expected *= self._path.torque_ratio(turns, distance_m)
            if not (math.isfinite(expected) and expected > 0.0):
                return
            if self._first_turns is None:
                self._first_turns = turns
            # Least squares through nothing, each second alike.
            self._seen += torque_Nm * expected * passed
            self._expected += expected * expected * passed
            if turns - self._first_turns >= SURE_AFTER_TURNS or turns >= limits.stretched_turns:
                self._trusted = 1.0 if distance_m is not None or self._held_low else PLACE_UNKNOWN
                self.at_stretch = self._seen / self._expected
                self._set(self.at_stretch)
        elif _last_turns(phase, distance_m) and self._corrects_from <= turns <= 1.05 * limits.target_turns:
            if torque_Nm < STEPPED * self._top_Nm:
                return
            expected = self._path.torque_at(turns)
            known = self.scale if self.ratio is None else self.ratio
            self._trusted = max(self._trusted, COUNT_TRUSTED)
            self._set(known + (torque_Nm / expected - known) * min(1.0, passed / CARRY_S))

    def _set(self, ratio: float) -> None:
        self.ratio = ratio
        self.scale = min(max(1.0 + self._trusted * (ratio - 1.0), self._least), self._most)
        self.known = True


def _last_turns(phase: Phase, distance_m: float | None) -> bool:
    """Whether these may be the turns at the hooks: where nobody measures, the walk-in's phase lasts into them."""
    return phase is Phase.FINAL_TURNS or (phase is Phase.WALK_IN and distance_m is None)
