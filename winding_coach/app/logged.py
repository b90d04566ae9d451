"""A trace in, what it tells of the rubber out: torque along the wind, at full stretch, and how far the wind went."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from winding_coach.coach.loop import taken
from winding_coach.coach.said import Phase
from winding_coach.coach.step import Coach
from winding_coach.keeping.replaying import settings_of
from winding_coach.rubber.batch import StretchedWind
from winding_coach.rubber.course import PAUSE_S, STRETCHED_STEPS, STRETCHING_S
from winding_coach.rubber.figures import MotorFigures, Plan
from winding_coach.rubber.learned import Mark, WindMarks
from winding_coach.rubber.looseness import worst_by_law
from winding_coach.rubber.motor import before_the_wind, geometry_of
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.strength import Wound
from winding_coach.traces.files import read_trace

LOOK_EVERY_S = 0.25
COUNTED = ("counted", "tapped")
LOADING = (Phase.WIND_STRETCHED, Phase.WALK_IN, Phase.FINAL_TURNS, Phase.BACK_OFF)
"""Phases in which turns may come on: a person may wind on while the coach wants them to back off."""
CLEAR_OF_WALK_IN = 0.95
"""Share of the turns at full stretch that is used: the phase ends a little after the first step in."""
USUAL_TURNS_PER_S = 12.0


TURNED = (*LOADING, Phase.READY, Phase.LET_DOWN)
"""Phases of which torque is learned from, turns going on or coming off."""
STOOD_S = 2.0
"""A count that stands for longer is a stop; shorter, the next count has not come yet."""
MOST_COMPARED = 90
"""Places of a wind at which torque is compared; more would only be slower."""
NEAR_WALK_IN_TURNS, AT_HOOKS_M = 30.0, 0.03
"""Torque of the last turns is compared from so many after the walk-in on: in the walk-in itself it depends on every
step, which turns counted one by one and a distance a little late do not show."""


@dataclass(frozen=True, slots=True)
class _Sample:
    at_s: float
    turns: float
    torque_Nm: float
    distance_m: float | None
    phase: Phase = Phase.WIND_STRETCHED


@dataclass(frozen=True, slots=True)
class LoggedWind:
    """stretched, wound: None where the trace cannot tell; remarks say why."""

    stretched: StretchedWind | None
    wound: Wound | None
    remarks: tuple[str, ...]
    marks: WindMarks | None = None


BROKE = "broken"
"""The outcome of a wind whose motor broke, as someone said."""


def logged_wind(path: Path, outcome: str | None = None) -> LoggedWind:
    """Replay a trace and return what it tells.

    outcome: of the wind by the shelf, where someone may have said since that the motor broke. Only a break that was
    confirmed is one; a motor whose torque went, and of which no one said why, tells nothing of strength.

    Raises:
        TraceError: it cannot be read or coached again.
    """
    trace = read_trace(path)
    settings = settings_of(trace)
    plan = settings.plan
    way = PlanPath(plan, settings.motor)
    coach = Coach(settings)
    looked_at_s, counted = -LOOK_EVERY_S, 0.0
    samples: list[_Sample] = []
    course: list[_Sample] = []
    went = False
    for event in taken(coach, trace.inputs, close=False):
        view = coach.view
        # A count is taken when it comes: a quarter of a second later the motor has some turns more.
        if event.at_s - looked_at_s < LOOK_EVERY_S and view.reading.turns in (counted, None):
            continue
        looked_at_s, counted = event.at_s, view.reading.turns or 0.0
        went = went or view.phase is Phase.BROKEN
        reading = view.reading
        if reading.turns is None or reading.torque_Nm is None or reading.turns_source not in COUNTED or view.stale:
            continue
        if view.phase in TURNED:
            course.append(_Sample(event.at_s, reading.turns, reading.torque_Nm, reading.distance_m, view.phase))
        if view.phase is Phase.WIND_STRETCHED:
            samples.append(course[-1])
    course = _put_right(course, settings.winder.ratio)
    reached = max((_stretch_of(one, plan, way) for one in course if one.phase in LOADING), default=0.0)
    closed = None if coach.summary is None else coach.summary.outcome
    broke = (outcome or closed) == BROKE
    unsaid = went and not broke and outcome in (None, "gone", "open") and closed in (None, "gone")
    remarks = []
    if unsaid:
        remarks.append("Torque was lost, and it is not logged whether the motor broke: log it with 'flight broke'.")
    if not samples:
        remarks.append("No turns were counted at full stretch, so the torque scale is not known.")
    if not reached:
        remarks.append("No turns were counted, so it is not known how far the motor was wound.")
    return LoggedWind(
        _stretched(samples, settings.motor, plan.stretch_distance_m) if samples else None,
        Wound(reached, broke, _by_law(course, settings.motor, plan)) if reached and not unsaid else None,
        tuple(remarks),
        _marks(course, settings.motor, plan, way, settings.winder.ratio) if course else None,
    )


def _put_right(course: list[_Sample], ratio: float) -> list[_Sample]:
    """Return the samples without counts that were taken back: where the crank turned back, it counts on for a while."""
    kept: list[_Sample] = []
    for sample in course:
        if kept and sample.turns < kept[-1].turns - 1.5 * ratio:
            while kept and kept[-1].turns > sample.turns:
                kept.pop()
        kept.append(sample)
    return kept


def _stretch_of(sample: _Sample, plan: Plan, way: PlanPath) -> float:
    distance_m = sample.distance_m
    if distance_m is None and sample.phase is Phase.WIND_STRETCHED:
        distance_m = plan.stretch_distance_m
    return way.stretch_at_worst(sample.turns, distance_m)


def _marks(course: list[_Sample], motor: MotorFigures, plan: Plan, way: PlanPath, ratio: float) -> WindMarks:
    """Return the wind as marks from rest on: walked out as a plan supposes, then as it was counted."""
    hooks_m = plan.walk_in[-1].distance_m
    counted = _at_counts(course)
    first_m = counted[0].distance_m or plan.stretch_distance_m
    marks = [
        Mark(STRETCHING_S / STRETCHED_STEPS, 0.0, motor.loop_m + (first_m - motor.loop_m) * i / STRETCHED_STEPS)
        for i in range(1, STRETCHED_STEPS + 1)
    ]
    marks.append(Mark(PAUSE_S, 0.0, first_m))
    every = max(1, len(counted) // MOST_COMPARED)
    walked_in_turns, before_s = way.walked_in_turns, counted[0].at_s
    for number, sample in enumerate(counted):
        stretched = sample.phase is Phase.WIND_STRETCHED
        if sample.distance_m is not None:
            at_m = sample.distance_m
        else:
            at_m = way.distance_at(sample.turns) if stretched or sample.phase is Phase.WALK_IN else hooks_m
        at_hooks = abs(at_m - hooks_m) < AT_HOOKS_M and sample.turns > walked_in_turns + NEAR_WALK_IN_TURNS
        sure = (stretched and at_m > CLEAR_OF_WALK_IN * first_m) or at_hooks or _comes_off(sample.phase)
        compared = sure and number % every == 0 and sample.turns > 0.0
        marks.append(Mark(sample.at_s - before_s, sample.turns, at_m, sample.torque_Nm if compared else None))
        before_s = sample.at_s
    # A sensor with several pulses per turn makes steps that are smaller than the winder's ratio.
    steps = [abs(b.turns - a.turns) for a, b in pairwise(counted) if b.turns != a.turns]
    return WindMarks(motor, hooks_m, tuple(marks), min(ratio, statistics.median(steps) if steps else ratio))


def _comes_off(phase: Phase) -> bool:
    return phase in (Phase.BACK_OFF, Phase.READY, Phase.LET_DOWN)


def _at_counts(course: list[_Sample]) -> list[_Sample]:
    """Return the samples at which the count has just changed, and stops at full stretch."""
    kept = [course[0]]
    for sample in course[1:]:
        stopped = sample.phase is Phase.WIND_STRETCHED and sample.at_s - kept[-1].at_s > STOOD_S
        if sample.turns != kept[-1].turns or stopped:
            kept.append(sample)
    return kept


def _by_law(course: list[_Sample], motor: MotorFigures, plan: Plan) -> tuple[float, float, float] | None:
    """Return how far the motor was wound under each law of looseness; None where no distance was measured."""
    walked = [sample for sample in course if sample.phase in LOADING]
    if not walked or any(sample.distance_m is None for sample in walked):
        return None
    body = geometry_of(motor)
    moments = []
    before_s = walked[0].at_s
    for sample in walked:
        moments.append((sample.at_s - before_s, sample.turns, sample.distance_m or motor.loop_m))
        before_s = sample.at_s
    found = worst_by_law(body, before_the_wind(body, motor.use, plan.walk_in[-1].distance_m), moments)
    return found["A"], found["B"], found["C"]


def _stretched(samples: list[_Sample], motor: MotorFigures, planned_m: float) -> StretchedWind:
    """Return the full-stretch part, at the distance that was measured, else at the one that was asked for."""
    most = max(sample.turns for sample in samples)
    used = [sample for sample in samples if sample.turns <= CLEAR_OF_WALK_IN * most]
    measured = [sample.distance_m for sample in used if sample.distance_m is not None]
    first, last = samples[0], samples[-1]
    pace = (last.turns - first.turns) / (last.at_s - first.at_s) if last.at_s > first.at_s else 0.0
    return StretchedWind(
        motor,
        statistics.median(measured) if measured else planned_m,
        tuple(sample.turns for sample in used),
        tuple(sample.torque_Nm for sample in used),
        pace if pace > 0.0 else USUAL_TURNS_PER_S,
    )
