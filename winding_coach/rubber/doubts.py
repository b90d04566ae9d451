"""A plan with its figures in, what of it is hard to believe out: one sentence each. Pure.

What cannot be is refused where the plan is made; these could be, and are mostly a slip of the hand.
"""

from __future__ import annotations

from winding_coach.base.units import UnitSystem, show
from winding_coach.rubber.figures import ModelFigures, MotorFigures, Plan

STRIP_KG_PER_M = (0.3e-3, 8e-3)
"""From a strip 0.3 mm wide to one of 8 mm, 1 mm thick at 0.93 g/cm3 (density of natural rubber, handbooks); assumed."""
LONG_LOOP_M = 1.5
"""Stretched six to seven times, such a loop needs ten metres of hall; assumed."""
SHORT_HOOKS, LONG_HOOKS = 0.3, 1.3
"""Hooks over loop: nearer than a wound motor is long, or so far that it is stretched on the model; assumed."""
STRETCH_LOOPS = 3.0
"""A motor stretched out by less is hardly stretched: common practice is six to seven, no source."""
MUCH_RISK = 0.10
STRONG_PULL_N = 60.0
"""More than one hand holds with ease for minutes; assumed."""


def doubts_of(plan: Plan, motor: MotorFigures, model: ModelFigures, units: UnitSystem) -> tuple[str, ...]:
    """Return what is hard to believe of a plan, the likeliest slip first; empty where all is usual."""
    found = []
    low, high = STRIP_KG_PER_M
    density = show(plan.linear_density_kg_per_m, "linear density", units)
    if not low <= plan.linear_density_kg_per_m <= high:
        thin = "thin" if plan.linear_density_kg_per_m < low else "thick"
        found.append(
            f"Loop and mass give strands of {density}, too {thin} for any usual strip: check both (the loop is half the"
            " strip) and the strands."
        )
    if motor.loop_m > LONG_LOOP_M:
        found.append(
            f"A loop of {show(motor.loop_m, 'length', units)} would be stretched to"
            f" {show(plan.stretch_distance_m, 'length', units)}: check its unit."
        )
    hooks_m = model.hooks_m
    if hooks_m is not None and not SHORT_HOOKS <= hooks_m / motor.loop_m <= LONG_HOOKS:
        why = "a wound motor is longer than that by its knots alone" if hooks_m < motor.loop_m else "that stretches it"
        found.append(
            f"Hooks {show(hooks_m, 'length', units)} apart for a loop of {show(motor.loop_m, 'length', units)}: {why};"
            " check both lengths."
        )
    if plan.stretch_distance_m < STRETCH_LOOPS * motor.loop_m:
        found.append(
            f"It is stretched to {plan.stretch_distance_m / motor.loop_m:.1f} loop lengths only, where six to seven are"
            " usual: it takes fewer turns safely than this says; find more room or wind to a lower --share."
        )
    if plan.break_risk > MUCH_RISK:
        found.append(
            f"{plan.break_risk:.0%} of such motors break before the target: eyes and hands; a lower --share costs"
            " few turns."
        )
    if plan.stretched_pull_N > STRONG_PULL_N:
        found.append(
            f"The pull reaches {plan.stretched_pull_N:.0f} N ({plan.stretched_pull_N / 9.80665:.0f} kg hung on the"
            " hook): check loop, mass and strands, and what hook, meter and stand are made for."
        )
    return tuple(found)
