"""Turns and torques along a wind in, the work of the crank out: what went in, what the back-off gave back. Pure.

Counted is the work through the hook's rotation alone, 2π ∫ M dn by the trapezoid rule. The work of the pull, when the
motor is stretched out (in) and walked in (out), is not: no sensor measures it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

UNIFORM_SD_DIVISOR = math.sqrt(12.0)
"""Width over standard deviation of what is uniform (JCGM 100:2008, 4.3.7)."""


@dataclass(frozen=True, slots=True)
class CrankWork:
    """wound_in_J: over all turns put on. returned_J: over all turns taken off, a positive figure.

    sd_J, returned_sd_J: their standard uncertainties, from the meter's calibration (taken as the same error
    throughout) and from turns that are told in whole crank turns. bridged_turns: turns that passed while no
    torque came; a straight line stands in for them.
    """

    wound_in_J: float
    returned_J: float
    sd_J: float
    returned_sd_J: float
    bridged_turns: float


def work_of(turns: Sequence[float], torques_Nm: Sequence[float]) -> tuple[float, float]:
    """Return the work (J) over the turns that were put on and over those taken off, both as positive figures."""
    put_on = taken_off = 0.0
    for (from_turns, from_Nm), (to_turns, to_Nm) in pairwise(zip(turns, torques_Nm, strict=True)):
        work_J = math.pi * (from_Nm + to_Nm) * (to_turns - from_turns)
        if to_turns > from_turns:
            put_on += work_J
        else:
            taken_off -= work_J
    return put_on, taken_off


def crank_work(
    turns: Sequence[float],
    torques_Nm: Sequence[float],
    times_s: Sequence[float],
    *,
    step_turns: float,
    sd_Nm: float | None,
    longest_s: float,
) -> CrankWork | None:
    """Return the work of a wind, None where fewer than two points tell of it.

    step_turns: what one count is worth. sd_Nm: of a torque, None if the calibration does not say. longest_s: two points
    further apart bridge a gap.
    """
    if len(turns) < 2:
        return None
    put_on, taken_off = work_of(turns, torques_Nm)
    spans = pairwise(zip(times_s, turns, strict=True))
    bridged = sum(abs(to - at) for (from_s, at), (to_s, to) in spans if to_s - from_s > longest_s)
    # A count is told at its end, so the part of a turn before the stop is in none: uniform over one step, half of it on
    # the mean. Backing off, the parts at both ends make up for each other on the mean.
    step_J = 2.0 * math.pi * step_turns * max(*torques_Nm, 0.0)
    last_step_J = 2.0 * math.pi * step_turns * max(torques_Nm[-1], 0.0)
    turn_J = 2.0 * math.pi * (sd_Nm or 0.0)
    off = max(turns) - turns[-1]
    return CrankWork(
        put_on + 0.5 * step_J,
        taken_off,
        math.hypot(step_J / UNIFORM_SD_DIVISOR, turn_J * (max(turns) - min(turns))),
        math.hypot(step_J / UNIFORM_SD_DIVISOR, last_step_J / UNIFORM_SD_DIVISOR, turn_J * off),
        bridged,
    )
