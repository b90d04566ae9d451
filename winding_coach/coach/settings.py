"""All that the coach knows before the first input arrives: same settings and inputs, same words."""

from __future__ import annotations

from dataclasses import dataclass, field

from winding_coach.base.standing import USUAL, Steps
from winding_coach.base.units import UnitSystem
from winding_coach.coach.person import UNKNOWN, Habits
from winding_coach.meter.calibration import Calibration
from winding_coach.rubber.figures import ModelFigures, MotorFigures, Plan, WinderFigures


@dataclass(frozen=True, slots=True)
class CoachSettings:
    """The motor and what goes with it, its plan, the meter's calibration, and the units of the words.

    tare_counts: a zero taken before the wind began, None to use the calibration's own until one is taken.
    steps: the person's own unit of standing, which also sets where the steps of the walk-in end.
    habits: what winds before showed of this person. led_by_torque, learns: off only to compare with (bench).
    direction: which way round the motor is wound, "right" or "left", None to find it. turns_in: turns that the motor
    holds already, None to find out; turns_expected: what its last flight left in it, if it was not let down since.
    """

    motor: MotorFigures
    plan: Plan
    calibration: Calibration
    winder: WinderFigures = field(default_factory=WinderFigures)
    model: ModelFigures = field(default_factory=ModelFigures)
    tare_counts: float | None = None
    units: UnitSystem = "metric"
    steps: Steps = USUAL
    habits: Habits = UNKNOWN
    led_by_torque: bool = True
    learns: bool = True
    direction: str | None = None
    turns_in: float | None = None
    turns_expected: float | None = None
