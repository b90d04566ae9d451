"""A motor's figures in, its geometry, breaking turns and state before the wind out. Impossible figures end here."""

from __future__ import annotations

import math

from winding_coach.rubber.figures import FiguresError, MotorFigures
from winding_coach.rubber.history import History, relaxed
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber, geometry

USUAL_SHARES = (0.80, 0.85, 0.90)
"""Share of the breaking turns at first, second and later use; common practice, no source."""
BROKEN_IN_FROM_USE = 3
HOOKS_SHARE = 0.8
"""Hooks over loop length where the hooks are not known; assumed, most models carry some slack."""


def usual_share(use: int) -> float:
    """Return the usual share (0-1) of the breaking turns for the use-th wind of a motor, from 1."""
    return USUAL_SHARES[min(use, len(USUAL_SHARES)) - 1]


def geometry_of(motor: MotorFigures, rubber: Rubber = DEFAULT_RUBBER) -> Geometry:
    """Return the motor's geometry: linear density is mass without O-rings over the length of all strands.

    Raises:
        FiguresError: figures that no motor can have.
    """
    if not 0.01 <= motor.loop_m <= 10.0:
        raise FiguresError(
            f"A loop of {motor.loop_m * 100:.4g} cm is no motor: give the relaxed length of the loop (half the strip)."
        )
    if not 0.0 < motor.mass_kg <= 1.0:
        raise FiguresError(f"A motor of {motor.mass_kg * 1e3:.4g} g cannot be: weigh it and give the mass.")
    if not 0.0 <= motor.orings_kg < motor.mass_kg:
        raise FiguresError(
            f"The O-rings ({motor.orings_kg * 1e3:.4g} g) must weigh less than the motor with them"
            f" ({motor.mass_kg * 1e3:.4g} g): check both masses."
        )
    if not 1 <= motor.strands <= 100:
        raise FiguresError(f"A motor of {motor.strands} strands cannot be wound: one loop has 2 strands.")
    density = (motor.mass_kg - motor.orings_kg) / (motor.strands * motor.loop_m)
    if not 0.1e-3 <= density <= 50e-3:
        raise FiguresError(
            f"These values give {density * 1e3:.3g} g of rubber per metre of strand, impossible for a strip:"
            " check loop length, mass and strands."
        )
    return geometry(motor.loop_m, density, motor.strands, rubber)


def share_of(motor: MotorFigures) -> float:
    """Return the share (0-1) of the breaking turns that the motor is to be wound to.

    Raises:
        FiguresError: the use is below 1, or the share is not between 0.2 and 1.
    """
    if motor.use < 1:
        raise FiguresError(f"Wind number {motor.use} of a motor cannot be: the first is 1.")
    share = usual_share(motor.use) if motor.share is None else motor.share
    if not 0.2 <= share < 1.0:
        raise FiguresError(
            f"A share of {share * 100:.4g} % of the breaking turns cannot be planned:"
            " choose 20 % to 99 %, usually 80 to 90."
        )
    return share


def breaking_turns(motor: Geometry, hooks_m: float, rubber: Rubber = DEFAULT_RUBBER) -> float:
    """Return the turns at which half of such motors have broken at this hook distance."""
    return motor.turns(rubber.break_stretch, hooks_m)


def strength_cv(rubber: Rubber) -> float:
    """Return the relative spread of breaking turns from strength alone: Weibull, turns going with stretch^1.5."""
    shape = rubber.break_shape / 1.5
    one, two = math.lgamma(1.0 + 1.0 / shape), math.lgamma(1.0 + 2.0 / shape)
    return math.sqrt(math.expm1(two - 2.0 * one))


def before_the_wind(motor: Geometry, use: int, hooks_m: float, rubber: Rubber = DEFAULT_RUBBER) -> History:
    """Return the motor at rest before its use-th wind: new, wound once to the usual share, or broken in."""
    if use >= BROKEN_IN_FROM_USE:
        return relaxed(motor, math.inf)
    if use == 1:
        return relaxed(motor)
    turns = usual_share(use - 1) * breaking_turns(motor, hooks_m, rubber)
    return relaxed(motor, rubber.energy_Pa(motor.strand_stretch(hooks_m, turns)))
