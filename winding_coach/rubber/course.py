"""The way of a planned wind in hook distance and turns, and what the motor shows on it, history included.

Stretch out, wind at full stretch, walk in at equal strand stretch, last turns at the hooks, back off.
"""

from __future__ import annotations

from dataclasses import dataclass

from winding_coach.rubber.history import History, advance
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber

NOMINAL_CRANK_REV_PER_S = 1.2
"""Pace at which a plan supposes the crank is turned; assumed. Twice the pace changes torque by about 1 %."""
STRETCHING_S = 6.0
"""Time to walk out; assumed."""
PAUSE_S = 4.0
"""Pause at full stretch before the first turn; assumed."""
PEAK_PAUSE_S = 1.0
"""Pause at the peak before the crank is reversed; assumed."""

STRETCHED_STEPS, WALK_IN_STEPS, FINAL_STEPS, BEYOND_STEPS = 30, 40, 30, 30
FINE_SHARE, FINE_STEPS, COARSE_STEPS = 0.08, 80, 46
"""Back-off: the first share of the turns is where torque falls steeply."""


@dataclass(frozen=True, slots=True)
class Course:
    """Where to stand at how many turns. walk_stretch: the strand stretch that is held while walking in."""

    motor: Geometry
    stretch_distance_m: float
    hooks_m: float
    stretched_turns: float
    walked_in_turns: float
    walk_stretch: float
    target_turns: float
    turns_per_s: float

    def distance_at(self, turns: float) -> float:
        """Return the hook distance that the plan wants at so many turns."""
        if turns <= self.stretched_turns:
            return self.stretch_distance_m
        if turns >= self.walked_in_turns:
            return self.hooks_m
        return max(self.hooks_m, self.motor.distance_m(self.walk_stretch, turns))


def course_through(
    motor: Geometry,
    stretch_distance_m: float,
    hooks_m: float,
    stretched_turns: float,
    target_turns: float,
    turns_per_s: float,
) -> Course:
    """Return the course that leaves full stretch after `stretched_turns` and keeps the strand stretch it has there."""
    walk_stretch = motor.strand_stretch(stretch_distance_m, stretched_turns)
    return Course(
        motor,
        stretch_distance_m,
        hooks_m,
        stretched_turns,
        motor.turns(walk_stretch, hooks_m),
        walk_stretch,
        target_turns,
        turns_per_s,
    )


def wind_stretched(
    motor: Geometry,
    start: History,
    distance_m: float,
    turns: float,
    turns_per_s: float,
    rubber: Rubber = DEFAULT_RUBBER,
) -> list[History]:
    """Return the motor, at rest before, at marks from 0 to `turns` of being wound at one hook distance."""
    now = start
    out = distance_m - motor.loop_m
    for i in range(1, STRETCHED_STEPS + 1):
        at = motor.loop_m + out * i / STRETCHED_STEPS
        now = advance(motor, now, at, 0.0, STRETCHING_S / STRETCHED_STEPS, rubber)
    marks = [advance(motor, now, distance_m, 0.0, PAUSE_S, rubber)]
    dt = turns / STRETCHED_STEPS / turns_per_s
    for i in range(1, STRETCHED_STEPS + 1):
        at = turns if i == STRETCHED_STEPS else turns * i / STRETCHED_STEPS
        marks.append(advance(motor, marks[-1], distance_m, at, dt, rubber))
    return marks


def wind_along(
    course: Course,
    start: History,
    beyond_turns: float,
    rubber: Rubber = DEFAULT_RUBBER,
    wound: Geometry | None = None,
) -> list[History]:
    """Return the motor at marks of the course: 0, stretched, walked in and target turns are among them.

    start: the motor at rest. beyond_turns: where the list ends, target turns or more.
    wound: the motor that is wound, where it is another than the one the course was made for.
    """
    motor = wound or course.motor
    marks = wind_stretched(motor, start, course.stretch_distance_m, course.stretched_turns, course.turns_per_s, rubber)
    legs = (
        (course.walked_in_turns, WALK_IN_STEPS),
        (course.target_turns, FINAL_STEPS),
        (beyond_turns, BEYOND_STEPS),
    )
    for goal, steps in legs:
        begin = marks[-1].turns
        if goal <= begin:
            continue
        dt = (goal - begin) / steps / course.turns_per_s
        for i in range(1, steps + 1):
            turns = goal if i == steps else begin + (goal - begin) * i / steps
            marks.append(advance(motor, marks[-1], course.distance_at(turns), turns, dt, rubber))
    return marks


def back_off_from(course: Course, peak: History, rubber: Rubber = DEFAULT_RUBBER) -> list[History]:
    """Return the motor at the hooks as it is unwound from the peak to nothing, the peak (after a pause) first."""
    motor = course.motor
    now = advance(motor, peak, peak.distance_m, peak.turns, PEAK_PAUSE_S, rubber)
    marks = [now]
    fine = FINE_SHARE * peak.turns
    left = [peak.turns - fine * i / FINE_STEPS for i in range(1, FINE_STEPS + 1)]
    left += [(peak.turns - fine) * (1 - i / COARSE_STEPS) for i in range(1, COARSE_STEPS + 1)]
    for turns in left:
        now = advance(motor, now, peak.distance_m, turns, (now.turns - turns) / course.turns_per_s, rubber)
        marks.append(now)
    return marks
