"""A trace in, the coach's settings for it and the first difference between what it said then and says now out."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

from winding_coach.base.units import UnitSystem
from winding_coach.coach.loop import taken
from winding_coach.coach.person import habits_from
from winding_coach.coach.said import Phase, ReadingSaid, Said, Summary
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.meter.calibration import Calibration
from winding_coach.rubber.figures import FiguresError, ModelFigures, WinderFigures
from winding_coach.rubber.plan import make_plan
from winding_coach.traces.files import Trace
from winding_coach.traces.header import MOST_TURNS_IN
from winding_coach.traces.rows import TraceError

HABITS = "habits"
"""Key of a trace's first line: what was known of the person before the wind."""

LAST_TIME = "last_time"
"""Key of a trace's first line: what the motor's last wind and flight left, an object with `turns_left`."""

UNWINDING = "unwinding"
"""In the first line of a trace of a motor being let down: an object with the `wind` it belongs to."""


def settings_of(
    trace: Trace, *, calibration: Calibration | None = None, units: UnitSystem | None = None
) -> CoachSettings:
    """Return the settings with which the wind was coached; without a plan in the trace one is made.

    Raises:
        TraceError: the trace knows no motor or no calibration, or its figures are impossible.
    """
    header = trace.header
    if UNWINDING in header.more:
        raise TraceError(f"The trace '{trace.path}' is of a motor let down: see it with 'unwind --again'.")
    if header.motor is None:
        raise TraceError(f"The trace '{trace.path}' knows no motor (loop and mass): it cannot be coached again.")
    used = calibration or header.calibration
    if used is None:
        raise TraceError(f"The trace '{trace.path}' knows no calibration: name one with --calibration.")
    winder, model = header.winder or WinderFigures(), header.model or ModelFigures()
    try:
        plan = header.plan or make_plan(header.motor, winder, model, meter_limit_Nm=used.rating_Nm)
        settings = CoachSettings(
            header.motor,
            plan,
            used,
            winder,
            model,
            header.tare,
            units or header.units,
            header.steps,
            habits=habits_from(header.more.get(HABITS)),
            direction=header.direction,
            turns_in=header.turns_in,
            turns_expected=_left_in(header.more.get(LAST_TIME)),
        )
        Coach(settings)  # A plan that contradicts itself is found here, not in mid-replay.
    except FiguresError as error:
        raise TraceError(f"The trace '{trace.path}' cannot be coached again: {error}") from None
    return settings


def _left_in(found: Any) -> float | None:
    """Return the turns that a last flight left, None where that is not known."""
    left = found.get("turns_left") if isinstance(found, dict) else None
    good = isinstance(left, (int, float)) and not isinstance(left, bool) and 0.0 <= left <= MOST_TURNS_IN
    return float(left) if good and left is not None else None


def said_again(trace: Trace, settings: CoachSettings) -> list[tuple[int, dict[str, Any]]]:
    """Return what the coach says to the trace's inputs, each with the number of inputs before it."""
    coach = Coach(settings)
    again: list[tuple[int, dict[str, Any]]] = []
    for number, _ in enumerate(taken(coach, trace.inputs, close=trace.summary is not None), 1):
        at = min(number, len(trace.inputs))
        again.extend((at, said.as_json()) for said in coach.said if not isinstance(said, ReadingSaid))
    return again


def readings_again(
    coach: Coach, trace: Trace, heard: Callable[[tuple[Said, ...]], None] = lambda said: None
) -> Iterator[tuple[ReadingSaid, Phase]]:
    """Run a coach over a trace's inputs; yield what the signal showed and the phase, wherever torque was known.

    heard: called with what each input made the coach say.
    """
    for _ in taken(coach, trace.inputs):
        heard(coach.said)
        view = coach.view
        if view.reading.torque_Nm is not None:
            yield view.reading, view.phase


def summary_again(trace: Trace) -> Summary:
    """Return what the present coach makes of a trace's inputs, closing the wind where they end.

    Raises:
        TraceError: it cannot be coached.
    """
    coach = Coach(settings_of(trace))
    for _ in taken(coach, trace.inputs):
        pass
    if coach.summary is None:
        raise TraceError(f"The trace '{trace.path}' gives no summary when it is coached again.")
    return coach.summary


def difference(trace: Trace, settings: CoachSettings) -> str | None:
    """Return the first difference between a trace and its replay as a sentence, None if there is none.

    The file's own name in the summary is left out. A trace that was cut by a kill may lack the last things said.
    """
    again = said_again(trace, settings)
    then = list(trace.said)
    if trace.summary is None:
        # Killed between an input and what it made the coach say.
        while len(again) > len(then) and again[-1][0] >= len(trace.inputs):
            again.pop()
    for (number, was), (number_now, now) in zip(then, again, strict=False):
        was = {key: value for key, value in was.items() if key != "trace"}
        # What the coach did not say of this yet, at the time, is no difference.
        only_then = was if now["event"] == "summary" else now
        now = {key: value for key, value in now.items() if key != "trace" and key in only_then}
        if number != number_now or was != now:
            return f"after input {number} it said {json.dumps(was)}, now after input {number_now} {json.dumps(now)}."
    if len(again) != len(then):
        return f"it said {len(then)} things, now {len(again)}."
    return None
