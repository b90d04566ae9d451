"""What was typed after an option: text in, a number or an SI quantity out, or a sentence that names the option."""

from __future__ import annotations

import math

from winding_coach.app.problem import UsageProblem
from winding_coach.base.units import Kind, QuantityError, UnitSystem, parse_number, parse_quantity

LONGEST_SHOWN = 40
MOST_SEED = 2**53
SLOWEST_SIMULATED, FASTEST_SIMULATED = 0.01, 10.0
"""A simulated meter's time beside ours. Faster, and a pause of a busy computer counts for seconds of the wind."""


def number(option: str, typed: str, low: float, high: float) -> float:
    """Return a number between two bounds, both allowed.

    Raises:
        UsageProblem: it is none, or outside.
    """
    try:
        value = parse_number(typed)
    except QuantityError as error:
        if "may be" in str(error):
            raise UsageProblem(f"{option}: {error}") from None
        value = math.nan
    if not low <= value <= high:
        raise UsageProblem(f"{option}: '{typed[:LONGEST_SHOWN]}' is not a number from {low:g} to {high:g}.")
    return value


def sim_speed(typed: str) -> float:
    """Return what was typed after `--sim-speed`.

    Raises:
        UsageProblem: it is no such speed.
    """
    return number("--sim-speed", typed, SLOWEST_SIMULATED, FASTEST_SIMULATED)


def whole(option: str, typed: str, low: int, high: int) -> int:
    """Return a whole number between two bounds, both allowed.

    Raises:
        UsageProblem: it is none, or outside.
    """
    plain = typed.strip()
    value = int(plain) if plain.isascii() and plain.isdigit() and len(plain) <= LONGEST_SHOWN else -1
    if not low <= value <= high:
        raise UsageProblem(f"{option}: '{typed[:LONGEST_SHOWN]}' is not a whole number from {low} to {high}.")
    return value


def quantity(option: str, typed: str, kind: Kind, units: UnitSystem) -> float:
    """Return a quantity in SI units.

    Raises:
        UsageProblem: it is none of this kind.
    """
    try:
        return parse_quantity(typed, kind, units)
    except QuantityError as error:
        raise UsageProblem(f"{option}: {error}") from None
