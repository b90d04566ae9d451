"""How fast time passes in a replay or a practice wind, as typed."""

from __future__ import annotations

from winding_coach.app.problem import UsageProblem
from winding_coach.base.units import parse_number

SLOWEST, FASTEST = 0.01, 10_000.0


def speed_from(typed: str) -> float | None:
    """Return the speed in times of real time, None for `max`: without waiting.

    Raises:
        UsageProblem: it is neither.
    """
    if typed == "max":
        return None
    try:
        speed = parse_number(typed)
    except ValueError:
        speed = 0.0
    if not SLOWEST <= speed <= FASTEST:
        raise UsageProblem(f"--speed: '{typed}' is neither a number from {SLOWEST:g} to {FASTEST:.0f} nor max.")
    return speed
