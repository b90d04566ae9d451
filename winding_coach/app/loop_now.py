"""How long a loop should be by now: it grows in its first winds; when to measure it again, and what was measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from winding_coach.app.problem import UsageProblem
from winding_coach.app.typed import quantity
from winding_coach.base.units import UnitSystem, show

if TYPE_CHECKING:
    from winding_coach.shelf.records import Motor
    from winding_coach.shelf.store import Shelf

WORTH_MEASURING = 0.003
"""A loop that should have grown by this share is measured again: 0.3 % of length are 0.6 % of torque."""
LIKELY_GROWTH = (0.9, 1.3)
"""A loop measured again is within these of the one before; beyond, it was a slip. Assumed."""


@dataclass(frozen=True, slots=True)
class LoopNow:
    """A loop of the shelf. winds_since: it was measured; expected_m: by the growth to expect since."""

    measured_m: float
    expected_m: float
    winds_since: int

    @property
    def worth_measuring(self) -> bool:
        """Whether it should be measured again before it is wound."""
        return self.expected_m >= (1.0 + WORTH_MEASURING) * self.measured_m


def loop_now(shelf: Shelf, motor: str, *, simulated: bool = False) -> LoopNow | None:
    """Return what is known of a motor's loop; None where it is not on the shelf, or no one noted when it was measured.

    simulated: winds on a simulated meter count too.
    """
    from winding_coach.shelf.records import Motor

    if not shelf.has(Motor, motor):
        return None
    return loop_of(shelf.get(Motor, motor), shelf.uses(motor, simulated=simulated))


def loop_of(motor: Motor, uses: int) -> LoopNow | None:
    """Return what is known of a motor's loop after so many uses."""
    from winding_coach.review.season.wear import grown_since

    if motor.measured_at_use is None:
        return None
    growth = grown_since(motor.measured_at_use, uses)
    return LoopNow(motor.loop_m, motor.loop_m * (1.0 + growth), uses - motor.measured_at_use)


def measured_again(shelf: Shelf, motor: str, typed: str, units: UnitSystem, *, simulated: bool = False) -> None:
    """Keep a loop's length as measured now. A number without a unit is the one of cm, mm and inches that fits.

    Raises:
        UsageProblem: it cannot be this motor's.
    """
    from winding_coach.shelf.records import Motor

    before_m = shelf.get(Motor, motor).loop_m
    low, high = LIKELY_GROWTH
    lengths = [quantity("loop", typed, "length", units)]
    if typed.strip()[-1:].isdigit():
        lengths += [quantity("loop", f"{typed} {unit}", "length", units) for unit in ("cm", "mm", "in")]
    loop_m = next((length for length in lengths if low * before_m <= length <= high * before_m), None)
    if loop_m is None:
        raise UsageProblem(
            f"loop: '{typed.strip()[:20]}' is not {motor}, which was {show(before_m, 'length', units)}: type its length"
            " with the unit, or press enter to continue."
        )
    shelf.edit(Motor, motor, loop_m=loop_m, measured_at_use=shelf.uses(motor, simulated=simulated))
