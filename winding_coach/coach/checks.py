"""What is looked at before a wind, and what of it was: ticked by keys, kept with the wind. Pure."""

from __future__ import annotations

from winding_coach.base.inputs import CHECK_KEYS, CHECKS
from winding_coach.rubber.figures import MotorFigures

ALL = CHECK_KEYS[-1]


def checks_for(motor: MotorFigures) -> tuple[str, ...]:
    """Return what there is to look at before this wind of a motor."""
    return CHECKS if motor.use == 1 else CHECKS[:-1]


def ticked(before: tuple[str, ...], key: str, wanted: tuple[str, ...]) -> tuple[str, ...]:
    """Return what is ticked after a key of `CHECK_KEYS`; one that is ticked already is taken back."""
    if key == ALL:
        return wanted
    name = key.removeprefix("check_")
    if name not in wanted:
        return before
    if name in before:
        return tuple(one for one in before if one != name)
    return tuple(one for one in wanted if one in before or one == name)
