"""One flight in, what the rules of thumb say to change out: for when there are too few flights for a fit. Pure.

The direction is common practice, no source: unused rubber is ballast. The bounds and steps are our own rule.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from winding_coach.review.advice.flown import Flown
from winding_coach.rubber.plan import OWN_BACK_OFF

GREAT_MANY_LEFT, MANY_LEFT, FEW_LEFT = 0.25, 0.14, 0.04
"""Turns left over turns at launch. A third left is a great many; common practice, no source."""
MUCH_BACKED_OFF, LITTLE_BACKED_OFF = 0.12, 1.4 * OWN_BACK_OFF
"""Turns backed off over turns at the peak: torque to spare, torque just enough; our own rule. Who takes off no more
than the plan does by itself, within half a crank turn or so, had no torque to spare."""
LONG_STEP, STEP, DENSITY_STEP = 0.10, 0.05, 0.05
POWER_PER_MASS = 1.5
"""Power to stay up goes with mass to this power: momentum theory, see `rubber.flight`."""


@dataclass(frozen=True, slots=True)
class Rule:
    """What a rule says. kind: same, length, density or launch. factor: of what is changed. gain: a guess from scaling
    laws alone (share of duration), None where they tell nothing."""

    kind: str
    factor: float
    why: str
    gain: float | None = None


def rule_for(flown: Flown) -> Rule | None:
    """Return what to change after a flight, None if the turns left are not known."""
    left, off = flown.left_share, flown.backed_off_share
    if left is None:
        return None
    weak = off is not None and off <= LITTLE_BACKED_OFF and not flown.ceiling
    strong = (off is not None and off >= MUCH_BACKED_OFF) or bool(flown.ceiling)
    if left >= MANY_LEFT:
        many = "a great many" if left >= GREAT_MANY_LEFT else "many"
        if weak:
            return Rule(
                "density",
                1.0 + DENSITY_STEP,
                f"{left:.0%} of the turns were left, which is {many}, and the motor was launched with nearly all of its"
                " torque: it is too weak. Torque goes with density^1.5 and not with length, so keep the length.",
            )
        step = LONG_STEP if left >= GREAT_MANY_LEFT else STEP
        return Rule(
            "length",
            1.0 - step,
            f"{left:.0%} of the turns were left, which is {many}: rubber that is not used is ballast. The launch torque"
            " depends on the density and not on the length, so keep the density.",
            _lighter(flown, -step),
        )
    if left <= FEW_LEFT:
        if strong:
            return Rule(
                "density",
                1.0 - DENSITY_STEP,
                f"Only {left:.0%} of the turns were left, and there was torque to spare"
                f" ({'the ceiling was touched' if flown.ceiling else f'{off:.0%} of the turns were backed off'}):"
                " a thinner motor takes more turns at the same length.",
            )
        return Rule(
            "length",
            1.0 + STEP,
            f"Only {left:.0%} of the turns were left: the motor was used up. The launch torque suits, so keep the"
            " density and take a longer loop, which takes more turns.",
        )
    return Rule("same", 1.0, f"{left:.0%} of the turns were left, neither many nor few: motor and model suit.")


def _lighter(flown: Flown, change: float) -> float | None:
    """Return what taking off unused rubber gains by the mass alone."""
    if flown.model_kg is None:
        return None
    mass = flown.flying_kg
    off_kg = change * (flown.motor.mass_kg - flown.motor.orings_kg)
    return math.expm1(-POWER_PER_MASS * math.log1p(off_kg / mass))
