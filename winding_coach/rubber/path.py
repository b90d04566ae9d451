"""A plan for the live loop: turns in, distance, torque, turns left and risk out, from tables made once.

The tables come from the same history model as the plan and are bent to go through the plan's own torques.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

from winding_coach.rubber.course import NOMINAL_CRANK_REV_PER_S, back_off_from, course_through, wind_along
from winding_coach.rubber.figures import FiguresError, MotorFigures, Plan
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber, geometry, strand_stretch, torque_Nm
from winding_coach.rubber.motor import before_the_wind
from winding_coach.rubber.table import Table, table

STRETCH_PER_TORQUE = 0.05
"""Share of a torque misfit (in logarithms) that is put down to strand stretch.

Of the spread of torque between motors most is stiffness, which does not bring the break nearer; measuring errors
of length and mass do. With 5 % of stiffness, 2 mm and 0.01 g (assumed) the regression of the one on the other is 0.05.
"""
BEYOND_BREAK = 1.03
"""The tables end at this share of the breaking turns."""
KEPT = 256
"""So many answers are kept for the turns and places asked for last."""


CONTRADICTS = "The plan contradicts itself: make it again from the motor's measurements."
LONGEST_M, MOST_TURNS, MOST_NM = 1e3, 1e7, 1e3
"""Far beyond any motor; within them the arithmetic holds."""


def _sound(plan: Plan, motor: MotorFigures) -> bool:
    """Whether the figures of a plan, which may come from any file, can be of one motor."""
    hooks = plan.walk_in[-1].distance_m if plan.walk_in else math.nan
    torques = (
        plan.stretched_torque_Nm,
        plan.peak_torque_Nm,
        plan.launch_torque_Nm,
        *(row.torque_Nm for row in plan.walk_in[-1:]),
    )
    return (
        1e-3 < hooks < plan.stretch_distance_m < LONGEST_M
        and 1e-3 < motor.loop_m < LONGEST_M
        and 0.0 < plan.stretched_turns < plan.target_turns < plan.breaking_turns < MOST_TURNS
        and 0.0 < plan.target_crank_turns < MOST_TURNS
        and 1e-9 < plan.linear_density_kg_per_m < 1e3
        and 0.0 < plan.launch_turns <= plan.target_turns
        and 0.0 <= plan.back_off_turns <= plan.target_turns
        and all(0.0 < torque < MOST_NM for torque in torques)
        and all(0.0 <= row.torque_Nm < MOST_NM and 0.0 <= row.turns < MOST_TURNS for row in plan.walk_in)
    )


class PlanPath:
    """What a plan says at each moment of the wind; nothing in it changes. SI, turns of the motor.

    A torque scale is the ratio of the torque seen to the plan's, 1 where not known.
    """

    def __init__(self, plan: Plan, motor: MotorFigures, rubber: Rubber = DEFAULT_RUBBER) -> None:
        """Make the tables; costs about a millisecond.

        Raises:
            FiguresError: the plan's figures contradict each other.
        """
        if not _sound(plan, motor):
            raise FiguresError(CONTRADICTS)
        try:
            self._make(plan, motor, rubber)
        except ArithmeticError:
            raise FiguresError(CONTRADICTS) from None

    def _make(self, plan: Plan, motor: MotorFigures, rubber: Rubber) -> None:
        hooks = plan.walk_in[-1].distance_m
        self._plan = plan
        self._motor = geometry(motor.loop_m, plan.linear_density_kg_per_m, motor.strands, rubber)
        # The strength that the plan was made with, which need not be this rubber's.
        break_stretch = strand_stretch(hooks / motor.loop_m, plan.breaking_turns / self._motor.turns_scale)
        self._rubber = replace(rubber, break_stretch=break_stretch)
        ratio = plan.target_turns / plan.target_crank_turns
        self._course = course_through(
            self._motor,
            plan.stretch_distance_m,
            hooks,
            plan.stretched_turns,
            plan.target_turns,
            NOMINAL_CRANK_REV_PER_S * ratio,
        )
        start = before_the_wind(self._motor, motor.use, hooks, self._rubber)
        up = wind_along(self._course, start, BEYOND_BREAK * plan.breaking_turns, rubber)
        peak = next(mark for mark in up if mark.turns >= plan.target_turns)
        off = back_off_from(self._course, peak, rubber)
        self._up = _bent(
            table([mark.turns for mark in up], [mark.torque_Nm for mark in up]),
            (
                (plan.stretched_turns, plan.stretched_torque_Nm),
                *((row.turns, row.torque_Nm) for row in plan.walk_in),
                (plan.target_turns, plan.peak_torque_Nm),
            ),
        )
        raw_off = table([peak.turns - mark.turns for mark in off], [mark.torque_Nm for mark in off])
        # Without a back-off the launch is the peak itself, a moment before the pause that the branch begins with.
        self._off = _bent(raw_off, ((plan.back_off_turns, plan.launch_torque_Nm),)) if plan.back_off_turns else raw_off
        self._looseness = table([mark.turns for mark in up], [mark.looseness for mark in up])
        # Turns are counted whole: the same are asked for at each of some fifty lines.
        self._torque_at = lru_cache(KEPT)(self._up.at)
        self._torque_ratio = lru_cache(KEPT)(self._ratio_of)
        self._first_at = lru_cache(KEPT)(self._up.first_at_or_above)

    @property
    def loop_m(self) -> float:
        """Relaxed loop length."""
        return self._motor.loop_m

    @property
    def hooks_m(self) -> float:
        """Hook distance at which the walk-in ends."""
        return self._plan.walk_in[-1].distance_m

    @property
    def walked_in_turns(self) -> float:
        """Turns at which the walk-in reaches the hooks."""
        return self._course.walked_in_turns

    @property
    def walk_stretch(self) -> float:
        """Strand stretch that the walk-in holds."""
        return self._course.walk_stretch

    def distance_at(self, turns: float) -> float:
        """Return the hook distance that the plan wants at so many turns, in m."""
        return self._course.distance_at(turns)

    def torque_at(self, turns: float) -> float:
        """Return the torque to expect at so many turns on the way up, in N·m; beyond the break it stays."""
        return self._torque_at(turns)

    def turns_at_torque(self, torque_Nm: float, from_turns: float | None = None) -> float | None:
        """Return the first turns on the way up with this torque, None if the motor breaks before.

        from_turns: where to begin to look; by default the end of the walk-in, where torque rises for good.
        """
        return self._first_at(torque_Nm, self._course.walked_in_turns if from_turns is None else from_turns)

    def back_off_torque_at(self, turns_off: float) -> float:
        """Return the torque to expect after so many turns were taken off the target turns, in N·m."""
        return self._off.at(turns_off)

    def back_off_turns_to(self, torque_Nm: float) -> float:
        """Return the turns to take off the target turns for this torque; all of them if it is never that low."""
        for (off, high), (next_off, low) in pairwise(zip(self._off.marks, self._off.values, strict=True)):
            if high <= torque_Nm:
                return off
            if low <= torque_Nm:
                return off + (next_off - off) * (high - torque_Nm) / (high - low)
        return self._off.marks[-1]

    def energy_left_J(self, turns: float) -> float:
        """Return the work that the motor gives in unwinding from so many turns at the hooks, in J."""
        off = self._plan.target_turns - turns
        return 2.0 * math.pi * self._off.integral(max(0.0, off), self._off.marks[-1])

    def strand_stretch(self, turns: float, distance_m: float | None = None) -> float:
        """Return the strand stretch at so many turns, where the plan wants one to stand if no distance is known."""
        return self._motor.strand_stretch(self.distance_at(turns) if distance_m is None else distance_m, turns)

    def stretch_at_worst(self, turns: float, distance_m: float | None = None, loosened: float = 0.0) -> float:
        """Return the strand stretch where the knots are loosest: their disorder is that of the plan's walk-in.

        loosened: what this walk-in has added to it, as strand stretch (ratio).
        """
        return self.strand_stretch(turns, distance_m) * (1.0 + self._looseness.at(turns) + loosened)

    def torque_ratio(self, turns: float, distance_m: float) -> float:
        """Return the torque at so many turns and this distance over that where the plan wants one to stand.

        By the law without history, whose share of the ratio is small while winding at full stretch.
        """
        return self._torque_ratio(turns, distance_m)

    def _ratio_of(self, turns: float, distance_m: float) -> float:
        planned = torque_Nm(self._motor, self.distance_at(turns), turns, self._rubber)
        return torque_Nm(self._motor, distance_m, turns, self._rubber) / planned if planned > 0.0 else 1.0

    def distance_at_stretch(self, stretch: float, turns: float) -> float:
        """Return the hook distance at which so many turns give a strand stretch; 0 where the turns alone exceed it."""
        return self._motor.distance_m(stretch, turns)

    def stretch_per_m(self, turns: float, distance_m: float) -> float:
        """Return the relative change of strand stretch per metre of hook distance at constant turns, 1/m.

        From λ³ − x²λ − τ² = 0: (dλ/dx)/λ = 2x/(3λ² − x²), in loop lengths.
        """
        stretch = self._motor.strand_stretch(distance_m, turns)
        x = max(distance_m, 1e-3) / self._motor.loop_m
        return 2.0 * x / (3.0 * stretch * stretch - x * x) / self._motor.loop_m

    def turns_at_stretch(self, stretch: float, distance_m: float) -> float:
        """Return the turns that give a strand stretch at a hook distance."""
        return self._motor.turns(stretch, distance_m)

    def break_risk(self, turns: float, distance_m: float | None = None, torque_scale: float = 1.0) -> float:
        """Return the chance (0-1) that such a motor has broken when it is here: Weibull on strand stretch.

        The disorder of the knots is that of the plan's own walk-in. `torque_scale` must be above 0.
        """
        return self.risk_at(self.stretch_at_worst(turns, distance_m), torque_scale)

    def risk_at(self, stretch: float, torque_scale: float = 1.0) -> float:
        """Return the chance (0-1) that such a motor has broken at this strand stretch where its knots are loosest."""
        return self._rubber.break_risk(stretch * torque_scale**STRETCH_PER_TORQUE)


def _bent(torque: Table, anchors: tuple[tuple[float, float], ...]) -> Table:
    """Return the table times a factor, straight between anchors, that makes it go through them."""
    factors = table([mark for mark, _ in anchors], [value / torque.at(mark) for mark, value in anchors])
    return Table(torque.marks, tuple(v * factors.at(m) for m, v in zip(torque.marks, torque.values, strict=True)))
