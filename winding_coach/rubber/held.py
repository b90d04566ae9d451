"""A walk-in that holds torque, and its cost under each law of loosening, beside the even path. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from winding_coach.rubber.course import Course, wind_along, wind_stretched
from winding_coach.rubber.figures import Plan, WalkInRow
from winding_coach.rubber.history import History, advance
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.rubber.looseness import Loosening, without_slack

STEP_TURNS = 6.0
"""The walk-in is drawn in steps of so many turns; half as many change torque by less than 1 %."""
JUMP_TURNS = 15.0
"""Turns of the motor after which the climb at the hooks is looked at."""
ROWS = 12


@dataclass(frozen=True, slots=True)
class WalkedIn:
    """A way in. rows: marks of it. arrived_turns: at the hooks. jump: climb of torque over the peak in the first
    `JUMP_TURNS` there. peak_torque_Nm: at the target. risk: chance to break (0-1) by law of loosening."""

    rows: tuple[WalkInRow, ...]
    arrived_turns: float
    jump: float
    peak_torque_Nm: float
    risk: dict[str, float]


def walked_even(course: Course, start: History, plan: Plan, rubber: Rubber = DEFAULT_RUBBER) -> WalkedIn:
    """Return the plan's own way."""
    return _judged(wind_along(course, start, course.target_turns, without_slack(rubber)), course, plan, rubber)


def walked_held(course: Course, start: History, plan: Plan, rubber: Rubber = DEFAULT_RUBBER) -> WalkedIn:
    """Return a way in on which torque stays what it is at the end of full stretch, as far as there is a way in left."""
    plain = without_slack(rubber)
    motor = course.motor
    marks = wind_stretched(motor, start, course.stretch_distance_m, course.stretched_turns, course.turns_per_s, plain)
    now = marks[-1]
    held_Nm = now.torque_Nm
    while now.turns < course.target_turns:
        turns = min(course.target_turns, now.turns + STEP_TURNS)
        dt_s = (turns - now.turns) / course.turns_per_s
        low, high = course.hooks_m, now.distance_m
        if high > low and advance(motor, now, low, turns, dt_s, plain).torque_Nm < held_Nm:
            for _ in range(24):
                middle = 0.5 * (low + high)
                if advance(motor, now, middle, turns, dt_s, plain).torque_Nm < held_Nm:
                    low = middle
                else:
                    high = middle
        else:
            high = low
        now = advance(motor, now, high, turns, dt_s, plain)
        marks.append(now)
    return _judged(marks, course, plan, rubber)


def _judged(marks: Sequence[History], course: Course, plan: Plan, rubber: Rubber) -> WalkedIn:
    loosening = Loosening(marks[0], rubber)
    for before, now in pairwise(marks):
        loosening.see(now, (now.turns - before.turns) / course.turns_per_s)
    walk = [mark for mark in marks if mark.turns >= course.stretched_turns]
    arrived = next(mark for mark in walk if mark.distance_m <= course.hooks_m + 1e-4)
    after = next((mark for mark in walk if mark.turns >= arrived.turns + JUMP_TURNS), walk[-1])
    way_in = [mark for mark in walk if mark.turns <= arrived.turns]
    every = max(1, len(way_in) // ROWS)
    kept = [*way_in[:-1:every], way_in[-1]]
    ratio = plan.target_turns / plan.target_crank_turns
    peak_Nm = marks[-1].torque_Nm
    return WalkedIn(
        tuple(WalkInRow(m.turns, m.turns / ratio, m.distance_m, m.torque_Nm) for m in kept),
        arrived.turns,
        (after.torque_Nm - arrived.torque_Nm) / peak_Nm,
        peak_Nm,
        {law: rubber.break_risk(stretch) for law, stretch in loosening.worst.items()},
    )
