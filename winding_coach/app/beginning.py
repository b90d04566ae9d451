"""What a wind begins with: the coach's settings and the first line of its trace."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from winding_coach import __version__
from winding_coach.app.figures import Figures
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.base.units import UnitSystem
from winding_coach.coach.settings import CoachSettings
from winding_coach.meter.calibration import Calibration
from winding_coach.rubber.batch import FittedBatch
from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.plan import DEFAULT_RESTS_ON, make_plan
from winding_coach.traces.files import TraceWriter
from winding_coach.traces.header import Header
from winding_coach.traces.rows import TraceError

PRACTISED = {"practice": True}
"""In a trace's first line: not for the shelf."""


def settings_for(
    figures: Figures, calibration: Calibration, units: UnitSystem, made: FittedBatch | None = None
) -> CoachSettings:
    """Return the coach's settings, with a plan made of the figures and of the rubber's batch, if it is known.

    Raises:
        UsageProblem: the figures are impossible.
    """
    try:
        plan = make_plan(
            figures.motor,
            figures.winder,
            figures.model,
            rubber=DEFAULT_RUBBER if made is None else made.rubber,
            room_m=figures.room_m,
            meter_limit_Nm=calibration.rating_Nm,
            units=units,
            rests_on=DEFAULT_RESTS_ON if made is None else made.rests_on,
        )
    except FiguresError as error:
        raise UsageProblem(str(error)) from None
    return CoachSettings(figures.motor, plan, calibration, figures.winder, figures.model, units=units)


def header_for(
    settings: CoachSettings, started: datetime, port: str, person: str | None, more: dict[str, Any] | None = None
) -> Header:
    """Return the first line of a new trace. more: keys beside the usual ones."""
    return Header(
        id=str(uuid.uuid4()),
        started=started,
        software=f"winding-coach {__version__}",
        meter=settings.calibration.meter or port,
        calibration=settings.calibration,
        tare=settings.tare_counts,
        motor=settings.motor,
        winder=settings.winder,
        model=settings.model,
        person=person,
        plan=settings.plan,
        units=settings.units,
        steps=settings.steps,
        direction=settings.direction,
        turns_in=settings.turns_in,
        more=more or {},
    )


def writer_for(home: Home, header: Header) -> TraceWriter:
    """Return a trace writer in the home's folder.

    Raises:
        Problem: nothing can be written there.
    """
    try:
        return TraceWriter(home.traces, header)
    except TraceError as error:
        raise Problem(str(error)) from None
