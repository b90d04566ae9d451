"""The motor of the bench, under three laws of what loosens its knots; its chance to break is worked out, not drawn.

The disorder of the knots shows in nothing but the break, so one wind is judged under all three at once.
"""

from __future__ import annotations

import math
from dataclasses import replace

from winding_coach.rubber.figures import MotorFigures
from winding_coach.rubber.history import History, advance
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.motor import before_the_wind, geometry_of

LAWS = ("A", "B", "C")
BY_SLACK = DEFAULT_RUBBER.loose_by_slack
"""Law A: disorder for each unit of strand stretch that is let go while knots form (assumed, as all of these)."""
PAST_THRESHOLD, THRESHOLD, FORGETS_S = 0.10, 0.15, 4.0
"""Law B: disorder for slack beyond a threshold under the largest strand stretch of late."""
STANDING, STANDS_BELOW_TURNS_PER_S = 0.10, 3.0
"""Law C: disorder for strand stretch that is let go while the crank stands."""
SURE_TO_BREAK = 0.995
"""From this chance on, under whichever law, the motor has broken, for the rest of the wind."""


class WalkedMotor:
    """One motor during one wind. torque_scale: how much stiffer it is than its figures say.

    slack: by law, the disorder that slack has brought. worst: by law, the largest strand stretch so far, disorder of
    the knots included. Turns are turns of the motor, either way round; figures are SI.
    """

    def __init__(self, figures: MotorFigures, *, torque_scale: float, hooks_m: float, turns_in: float = 0.0) -> None:
        self._rubber = replace(DEFAULT_RUBBER, loose_by_slack=0.0)
        self._geometry = geometry_of(figures)
        self._scale = torque_scale
        start = before_the_wind(self._geometry, figures.use, hooks_m, self._rubber)
        self.now: History = advance(self._geometry, start, figures.loop_m, turns_in, 1.0, self._rubber)
        self.slack = dict.fromkeys(LAWS, 0.0)
        self.worst = dict.fromkeys(LAWS, self.now.stretch)
        self.broken = False
        self._of_late = self.now.stretch
        self._beyond = self._counted = 0.0

    def move(self, turns: float, distance_m: float, dt_s: float) -> None:
        """Bring the motor to a hook distance and turns in `dt_s` seconds."""
        if self.broken:
            return
        before = self.now
        now = self.now = advance(self._geometry, before, distance_m, turns, dt_s, self._rubber)
        slack = self.slack
        self._let_go_of_late(now.stretch, dt_s)
        if now.knotted > before.knotted:
            let_go = max(0.0, before.stretch - now.stretch)
            slack["A"] += BY_SLACK * let_go
            slack["B"] += PAST_THRESHOLD * (self._beyond - self._counted)
            self._counted = self._beyond
            if abs(turns - before.turns) < STANDS_BELOW_TURNS_PER_S * dt_s:
                slack["C"] += STANDING * let_go
        for law in LAWS:
            worst = now.stretch * (1.0 + now.looseness + slack[law])
            if worst > self.worst[law]:
                self.worst[law] = worst
        self.broken = DEFAULT_RUBBER.break_risk(min(self.worst.values())) > SURE_TO_BREAK

    def _let_go_of_late(self, stretch: float, dt_s: float) -> None:
        """Slack beyond the threshold; what of it knots have had is counted once, until it is taken up again."""
        self._of_late = max(stretch, stretch + (self._of_late - stretch) * math.exp(-dt_s / FORGETS_S))
        self._beyond = max(0.0, self._of_late - stretch - THRESHOLD)
        self._counted = min(self._counted, self._beyond)

    def risk(self, law: str) -> float:
        """Return the chance (0-1) that such a motor has broken by now: Weibull on the largest strand stretch."""
        return DEFAULT_RUBBER.break_risk(self.worst[law])

    @property
    def torque_Nm(self) -> float:
        """Torque at the hook; 0 once broken."""
        return 0.0 if self.broken else self._scale * self.now.torque_Nm

    def looseness(self, law: str) -> float:
        """Return the disorder of the knots, as added strand stretch (ratio)."""
        return self.now.looseness + self.slack[law]
