"""The first line of a trace: what was known when the wind began. Pure; unknown keys are kept."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from winding_coach.base.standing import STEP_UNITS, USUAL, Steps
from winding_coach.base.units import UnitSystem
from winding_coach.meter.calibration import Calibration, CalibrationError
from winding_coach.rubber.figures import FiguresError, ModelFigures, MotorFigures, Plan, WinderFigures
from winding_coach.rubber.plan_json import plan_from_json_dict, plan_to_json_dict
from winding_coach.traces.rows import TraceError

FORMAT = "winding-coach trace"
VERSION = 3
READ = (1, 2, 3)
"""Version 2 may hold rows of bytes left out; since version 3 the rows are objects with keys."""

DIRECTIONS = ("right", "left")
"""Which way round a motor is wound: right-hand is the way the meter was calibrated, its torque positive."""
MOST_TURNS_IN = 10_000.0


@dataclass(frozen=True, slots=True)
class Header:
    """What stands on the first line; None is not known. `more` holds the keys that this version does not know."""

    id: str
    started: datetime
    software: str | None = None
    meter: str | None = None
    calibration: Calibration | None = None
    tare: float | None = None
    motor: MotorFigures | None = None
    winder: WinderFigures | None = None
    model: ModelFigures | None = None
    person: str | None = None
    plan: Plan | None = None
    units: UnitSystem = "metric"
    steps: Steps = USUAL
    direction: str | None = None
    turns_in: float | None = None
    more: dict[str, Any] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Return the header as its JSON object, SI throughout."""
        motor, winder, model = self.motor, self.winder, self.model
        return self.more | {
            "format": FORMAT,
            "version": VERSION,
            "id": self.id,
            "started": self.started.isoformat(),
            "software": self.software,
            "meter": self.meter,
            "calibration": None if self.calibration is None else self.calibration.as_json(),
            "tare": self.tare,
            "motor": motor
            and {
                "name": motor.name,
                "loop_m": motor.loop_m,
                "mass_kg": motor.mass_kg,
                "orings_kg": motor.orings_kg,
                "strands": motor.strands,
                "use": motor.use,
                "share": motor.share,
            },
            "winder": winder and {"ratio": winder.ratio, "limit_Nm": winder.limit_Nm},
            "model": model
            and {"name": model.name, "hooks_m": model.hooks_m, "launch_torque_Nm": model.launch_torque_Nm},
            "person": self.person,
            "plan": None if self.plan is None else plan_to_json_dict(self.plan),
            "units": self.units,
            "steps": None if self.steps == USUAL else asdict(self.steps),
            "direction": self.direction,
            "turns_in": self.turns_in,
        }


class _Reading:
    """Takes typed values out of a JSON object; a wrong type is a TraceError that names the key."""

    def __init__(self, found: dict[str, Any], where: str = "") -> None:
        self.found = found
        self.where = where

    def wrong(self, key: str) -> TraceError:
        return TraceError(f"has a '{self.where}{key}' that cannot be used")

    def text(self, key: str) -> str | None:
        value = self.found.get(key)
        if value is not None and not isinstance(value, str):
            raise self.wrong(key)
        return value

    def number(self, key: str) -> float | None:
        value = self.found.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self.wrong(key)
        try:
            value = float(value)
        except OverflowError:
            raise self.wrong(key) from None
        if not math.isfinite(value):
            raise self.wrong(key)
        return value

    def whole(self, key: str, usual: int) -> int:
        value = self.found.get(key, usual)
        if isinstance(value, bool) or not isinstance(value, int) or not 0 < value < 1_000_000:
            raise self.wrong(key)
        return value

    def inner(self, key: str) -> _Reading | None:
        value = self.found.get(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            raise self.wrong(key)
        return _Reading(value, f"{key}.")


def _motor(found: _Reading | None) -> MotorFigures | None:
    if found is None:
        return None
    loop_m, mass_kg = found.number("loop_m"), found.number("mass_kg")
    if loop_m is None or mass_kg is None:
        return None
    return MotorFigures(
        loop_m=loop_m,
        mass_kg=mass_kg,
        orings_kg=found.number("orings_kg") or 0.0,
        strands=found.whole("strands", 2),
        use=found.whole("use", 1),
        share=found.number("share"),
        name=found.text("name"),
    )


def _winder(found: _Reading | None) -> WinderFigures | None:
    if found is None:
        return None
    return WinderFigures(ratio=found.number("ratio") or 10.0, limit_Nm=found.number("limit_Nm"))


def _model(found: _Reading | None) -> ModelFigures | None:
    if found is None:
        return None
    return ModelFigures(
        hooks_m=found.number("hooks_m"),
        launch_torque_Nm=found.number("launch_torque_Nm"),
        name=found.text("name"),
    )


def _steps(found: _Reading | None) -> Steps:
    """The person's unit of standing; the usual one where this version does not know it."""
    unit = None if found is None else next((unit for unit in STEP_UNITS if unit == found.text("unit")), None)
    if found is None or unit is None:
        return USUAL
    tape = found.found.get("tape_m", ())
    if not isinstance(tape, (list, tuple)) or not all(_is_length(at) for at in tape) or sorted(tape) != list(tape):
        raise found.wrong("tape_m")
    pace_m = found.number("pace_m") or USUAL.pace_m
    if not 0.05 <= pace_m <= 3.0 or (unit == "tape" and not tape):
        raise found.wrong("pace_m" if tape else "tape_m")
    return Steps(unit, pace_m, tuple(float(at) for at in tape))


def _direction(found: str | None) -> str | None:
    """Right or left; None where this version does not know it."""
    return found if found in DIRECTIONS else None


def _turns_in(reading: _Reading) -> float | None:
    turns = reading.number("turns_in")
    if turns is not None and not 0.0 <= turns <= MOST_TURNS_IN:
        raise reading.wrong("turns_in")
    return turns


def _is_length(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0.0 < value < 100.0


def header_from(found: Any) -> Header:
    """Return the header of a trace's first line.

    Raises:
        TraceError: it is none, or of a version that this program does not know.
    """
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise TraceError("is not the first line of a trace")
    version = found.get("version")
    if isinstance(version, bool) or version not in READ:
        raise TraceError(f"is of trace version {version!r:.20}; this program reads versions up to {VERSION}")
    reading = _Reading(found)
    try:
        started = datetime.fromisoformat(reading.text("started") or "")
    except ValueError:
        raise reading.wrong("started") from None
    calibration, plan = reading.inner("calibration"), reading.inner("plan")
    try:
        return Header(
            id=reading.text("id") or "",
            started=started,
            software=reading.text("software"),
            meter=reading.text("meter"),
            calibration=None if calibration is None else Calibration.from_json_dict(calibration.found),
            tare=reading.number("tare"),
            motor=_motor(reading.inner("motor")),
            winder=_winder(reading.inner("winder")),
            model=_model(reading.inner("model")),
            person=reading.text("person"),
            plan=None if plan is None else plan_from_json_dict(plan.found),
            units="inch" if reading.text("units") == "inch" else "metric",
            steps=_steps(reading.inner("steps")),
            direction=_direction(reading.text("direction")),
            turns_in=_turns_in(reading),
            more={key: value for key, value in found.items() if key not in _KNOWN},
        )
    except CalibrationError as error:
        raise TraceError(f"holds a calibration that cannot be used: {error}") from None
    except FiguresError as error:
        raise TraceError(f"holds a plan that cannot be used: {error}") from None


_KNOWN = {
    *("format", "version", "id", "started", "software", "meter", "calibration"),
    *("tare", "motor", "winder", "model", "person", "plan", "units", "steps", "direction", "turns_in"),
}
