"""How far a plan's figures may be off: weighing, measuring and the rubber carried through to turns and torque.

Each cause is tried by itself, one standard error up and down; causes add as squares.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from winding_coach.rubber.course import NOMINAL_CRANK_REV_PER_S, course_through, wind_along
from winding_coach.rubber.figures import FiguresError, MotorFigures, Plan
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber, geometry
from winding_coach.rubber.motor import before_the_wind, breaking_turns, geometry_of, strength_cv
from winding_coach.rubber.plan import LOOP_SD_M, MASS_SD_KG

TORQUE_SD = 0.05
"""Relative spread of torque of a batch that was never fitted; assumed (as in `rubber.batch`)."""


@dataclass(frozen=True, slots=True)
class Effect:
    """What one standard error of a cause does: to breaking turns, and to the torques at the plan's own turns."""

    breaking_turns: float
    stretched_torque_Nm: float
    peak_torque_Nm: float


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard errors of a plan. strength, stiffness: of the rubber. loop, mass: of measuring and weighing."""

    linear_density_sd_kg_per_m: float
    loop: Effect
    mass: Effect
    strength: Effect
    stiffness: Effect
    together: Effect


def spread_of(
    plan: Plan,
    motor: MotorFigures,
    *,
    rubber: Rubber = DEFAULT_RUBBER,
    loop_sd_m: float = LOOP_SD_M,
    mass_sd_kg: float = MASS_SD_KG,
    torque_sd: float = TORQUE_SD,
) -> Spread:
    """Return how far a motor's plan may be off. Costs four simulated winds, a few milliseconds.

    torque_sd: relative, of the rubber's torque scale.

    Raises:
        FiguresError: an error so large that no motor is left.
    """
    if not (0.0 <= loop_sd_m < 0.2 * motor.loop_m and 0.0 <= mass_sd_kg < 0.2 * (motor.mass_kg - motor.orings_kg)):
        raise FiguresError("An error of a fifth of the motor leaves nothing to plan: measure and weigh it again.")
    loop = _by(
        plan,
        motor.loop_m,
        replace(motor, loop_m=motor.loop_m + loop_sd_m),
        replace(motor, loop_m=motor.loop_m - loop_sd_m),
        rubber,
    )
    mass = _by(
        plan,
        motor.loop_m,
        replace(motor, mass_kg=motor.mass_kg + mass_sd_kg),
        replace(motor, mass_kg=motor.mass_kg - mass_sd_kg),
        rubber,
    )
    strength = Effect(plan.breaking_turns * strength_cv(rubber), 0.0, 0.0)
    stiffness = Effect(0.0, plan.stretched_torque_Nm * torque_sd, plan.peak_torque_Nm * torque_sd)
    causes = (loop, mass, strength, stiffness)
    together = Effect(
        math.hypot(*(cause.breaking_turns for cause in causes)),
        math.hypot(*(cause.stretched_torque_Nm for cause in causes)),
        math.hypot(*(cause.peak_torque_Nm for cause in causes)),
    )
    density = plan.linear_density_kg_per_m * math.hypot(
        loop_sd_m / motor.loop_m, mass_sd_kg / (motor.mass_kg - motor.orings_kg)
    )
    return Spread(density, loop, mass, strength, stiffness, together)


def _by(plan: Plan, loop_m: float, more: MotorFigures, less: MotorFigures, rubber: Rubber) -> Effect:
    up, down = _seen(plan, loop_m, more, rubber), _seen(plan, loop_m, less, rubber)
    return Effect(*(0.5 * (a - b) for a, b in zip(up, down, strict=True)))


def _seen(plan: Plan, loop_m: float, motor: MotorFigures, rubber: Rubber) -> tuple[float, float, float]:
    """Return what a motor with these true figures shows when wound by a plan made for others."""
    body = geometry_of(motor, rubber)
    hooks = plan.walk_in[-1].distance_m
    made_for = geometry(loop_m, plan.linear_density_kg_per_m, motor.strands, rubber)
    ratio = plan.target_turns / plan.target_crank_turns
    course = course_through(
        made_for,
        plan.stretch_distance_m,
        hooks,
        plan.stretched_turns,
        plan.target_turns,
        NOMINAL_CRANK_REV_PER_S * ratio,
    )
    start = before_the_wind(body, motor.use, hooks, rubber)
    marks = wind_along(course, start, plan.target_turns, rubber, body)
    stretched = next(mark for mark in marks if mark.turns >= plan.stretched_turns)
    return breaking_turns(body, hooks, rubber), stretched.torque_Nm, marks[-1].torque_Nm
