"""Where published values disagree with the law or each other, and what that is worth in a plan: ranges out. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from winding_coach.rubber.figures import ModelFigures, MotorFigures, Plan, WinderFigures
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber
from winding_coach.rubber.motor import geometry_of
from winding_coach.rubber.plan import make_plan


@dataclass(frozen=True, slots=True)
class Marks:
    """Breaking turns per length of loop, times the root of the whole section: a number without unit."""

    low: float
    middle: float
    high: float

    def turns(self, motor: Geometry) -> tuple[float, float, float]:
        """Return breaking turns of a motor: low, middle, high."""
        per_mark = motor.loop_m / math.sqrt(motor.strands * motor.area_m2)
        return self.low * per_mark, self.middle * per_mark, self.high * per_mark


PUBLISHED_MARKS = Marks(9.0, 10.64, 13.0)
"""G. Hinze, notes on breaking turns of rubber motors: 10.64 for one rubber, 9 to 13 for what is called good."""
CRYSTALS_FROM, CRYSTALS_FULL = 4.5, 5.2
"""Natural rubber begins to crystallize at these stretches, planar and uniaxial: Hiraiwa and others, RSC Advances 13
(2023) d3ra07173a. Supposing that unloading loses stress only from there on bounds what a motor gives back."""


@dataclass(frozen=True, slots=True)
class Ranges:
    """What published values leave open of a plan. breaking_turns: low and high for good rubber of an unknown batch.

    energy_J: what the motor gives back, lowest and highest.
    """

    breaking_turns: tuple[float, float]
    energy_J: tuple[float, float]


def ranges_of(
    plan: Plan,
    motor: MotorFigures,
    winder: WinderFigures,
    model: ModelFigures,
    *,
    rubber: Rubber = DEFAULT_RUBBER,
    room_m: float | None = None,
) -> Ranges:
    """Return the ranges of a plan; costs one more plan."""
    late = replace(rubber, hysteresis_from=CRYSTALS_FROM, hysteresis_full=CRYSTALS_FULL)
    wound = replace(motor, share=plan.share)
    other = make_plan(wound, winder, model, rubber=late, room_m=room_m).energy_stored_J
    low, _, high = PUBLISHED_MARKS.turns(geometry_of(motor, rubber))
    return Ranges((low, high), (min(plan.energy_stored_J, other), max(plan.energy_stored_J, other)))
