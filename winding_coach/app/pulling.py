"""The pulls of a calibration: what to hang from the hook, and the cross-talk that comes of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from winding_coach.app.problem import UsageProblem

if TYPE_CHECKING:
    from winding_coach.app.calibration_points import Taken
    from winding_coach.meter.calibration import Calibration
    from winding_coach.meter.commissioning.calibrating import Point
    from winding_coach.meter.commissioning.crosstalk import CrossTalk
    from winding_coach.meter.commissioning.guiding import Load

PULL_KG = (0.01, 20.0)


def pull_loads(pulls_kg: Sequence[float], tilt_deg: float, loads: Sequence[Load], gravity: float) -> list[Load]:
    """Return the loads: each mass straight, the largest tilted to both sides, and with a weight on the arm.

    Raises:
        UsageProblem: fewer than two masses, or one that is none.
    """
    from winding_coach.meter.commissioning.guiding import Load

    if len(set(pulls_kg)) < 2 or not all(PULL_KG[0] <= mass <= PULL_KG[1] for mass in pulls_kg):
        raise UsageProblem("--pull-masses: two different masses from 10 g to 20 kg, as in '0.5 kg, 1 kg'.")
    nothing = Load(0.0, "nothing")
    most = max(pulls_kg)
    straight = [Load(0.0, f"{mass:g} kg straight from the hook, over a pulley", mass * gravity) for mass in pulls_kg]
    lean = math.radians(tilt_deg)
    tilted = [
        Load(0.0, f"{most:g} kg from the hook, leaning {tilt_deg:g}° to the {side}", most * gravity, sign * lean)
        for side, sign in (("right", 1.0), ("left", -1.0))
    ]
    right = sorted({load.torque_Nm: load for load in loads if load.torque_Nm > 0}.items())
    both: list[Load] = []
    if right:
        arm = right[len(right) // 2][1]
        also = f"{arm.words}, and {most:g} kg straight from the hook"
        both = [arm, Load(arm.torque_Nm, also, most * gravity), nothing]
    return [*straight, *(tilted if tilt_deg else []), nothing, *both]


def crosstalk_of(taken: Sequence[Taken]) -> tuple[list[Point], Callable[[Calibration], CrossTalk | None] | None]:
    """Return the points of the line, and what makes the cross-talk of the rest; None where nothing was pulled."""
    pulled = [i for i, one in enumerate(taken) if one.load.pull_N]
    if not pulled:
        return [one.point for one in taken], None
    plain, rest = taken[: pulled[0]], taken[pulled[0] - 1 :]

    def made(calibration: Calibration) -> CrossTalk | None:
        from winding_coach.meter.commissioning.crosstalk import PullPoint, crosstalk

        return crosstalk(
            [
                PullPoint(
                    one.load.pull_N, one.load.tilt_rad, one.load.torque_Nm, calibration.torque_Nm(one.point.counts)
                )
                for one in rest
            ]
        )

    return [one.point for one in plain], made
