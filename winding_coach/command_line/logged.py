"""A trace in, what it tells of the rubber out: torque at full stretch against turns, and how far the wind went."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from pathlib import Path

from winding_coach.coach.said import Phase
from winding_coach.coach.step import Coach
from winding_coach.replaying import settings_of
from winding_coach.rubber.batch import StretchedWind
from winding_coach.rubber.figures import MotorFigures
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


@dataclass(frozen=True, slots=True)
class _Sample:
    at_s: float
    turns: float
    torque_Nm: float
    distance_m: float | None


@dataclass(frozen=True, slots=True)
class LoggedWind:
    """stretched, wound: None where the trace cannot tell; remarks say why."""

    stretched: StretchedWind | None
    wound: Wound | None
    remarks: tuple[str, ...]


def logged_wind(path: Path) -> LoggedWind:
    """Replay a trace and return what it tells.

    Raises:
        TraceError: it cannot be read or coached again.
    """
    trace = read_trace(path)
    settings = settings_of(trace)
    plan = settings.plan
    way = PlanPath(plan, settings.motor)
    coach = Coach(settings)
    looked_at_s = -LOOK_EVERY_S
    samples: list[_Sample] = []
    reached, broke = 0.0, False
    for event in trace.inputs:
        coach.step(event)
        if event.at_s - looked_at_s < LOOK_EVERY_S:
            continue
        looked_at_s = event.at_s
        view = coach.view
        broke = broke or view.phase is Phase.BROKEN
        reading = view.reading
        if reading.turns is None or reading.torque_Nm is None or reading.turns_source not in COUNTED or view.stale:
            continue
        if view.phase is Phase.WIND_STRETCHED:
            samples.append(_Sample(event.at_s, reading.turns, reading.torque_Nm, reading.distance_m))
        if view.phase in LOADING:
            distance = reading.distance_m
            if distance is None and view.phase is Phase.WIND_STRETCHED:
                distance = plan.stretch_distance_m
            reached = max(reached, way.stretch_at_worst(reading.turns, distance))
    remarks = []
    if not samples:
        remarks.append("No turns were counted at full stretch, so the torque scale cannot be told.")
    if not reached:
        remarks.append("No turns were counted, so it cannot be told how far the motor was wound.")
    return LoggedWind(
        _stretched(samples, settings.motor, plan.stretch_distance_m) if samples else None,
        Wound(reached, broke) if reached else None,
        tuple(remarks),
    )


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
