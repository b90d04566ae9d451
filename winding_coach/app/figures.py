"""A motor's figures as they were typed, in SI, and in words."""

from __future__ import annotations

from dataclasses import dataclass

from winding_coach.base.units import UnitSystem, show
from winding_coach.rubber.figures import ModelFigures, MotorFigures, WinderFigures

RATIOS = (0.1, 1000.0)


@dataclass(frozen=True, slots=True)
class Figures:
    """What was typed about a motor and what goes with it, SI; `room_m` is None without `--room`."""

    motor: MotorFigures
    winder: WinderFigures
    model: ModelFigures
    room_m: float | None = None


def motor_words(motor: MotorFigures, units: UnitSystem) -> str:
    """Return the figures that a plan is made for, in a line."""
    orings = f" with {show(motor.orings_kg, 'mass', units)} of O-rings" if motor.orings_kg else ", no O-rings"
    name = "" if motor.name is None else f"{motor.name}: "
    return (
        f"{name}loop {show(motor.loop_m, 'length', units)}, {show(motor.mass_kg, 'mass', units)}{orings},"
        f" {motor.strands} strands, wind {motor.use}"
    )


def winder_words(winder: WinderFigures, units: UnitSystem) -> str:
    """Return a winder's ratio and rating."""
    limit = "" if winder.limit_Nm is None else f", rated for {show(winder.limit_Nm, 'torque', units)}"
    return f"{winder.ratio:g}:1, {winder.ratio:g} turns of the motor for a crank turn{limit}"
