"""What a motor remembers: stretch and turns step by step in, stress, torque and pull corrected for history out.

One implementation for the plan and the simulator. A `History` is a value; `advance` returns the next one.
"""

from __future__ import annotations

import math

from winding_coach.base.values import value
from winding_coach.rubber.law import DEFAULT_RUBBER, Geometry, Rubber, strand_stretch

STOP_WIDTHS = (0.5, 1.0, 2.0, 4.0)
"""Widths of the four parallel stop elements (Iwan 1967), whose loops close; an exponential form's do not."""
RELAXATION_TIMES_S = (0.3, 3.0, 30.0, 300.0)
"""Relaxation in logarithmic time: one element a decade."""
FIRST_ROW_FULL = 0.7
"""Knotted fraction at which the first row of knots is complete."""


@value(frozen=True, slots=True)
class History:
    """A motor after some winding: where it is, what it remembers, and what it shows there.

    stretch: strand stretch. stops: hysteresis, each −1 (unloading) to 1 (loading). peak_energy_Pa: largest strain
    energy so far, infinite for a broken-in motor. relaxing_Pa: stress that each relaxation time has taken in.
    friction: of the rope on itself, −1 to 1. knotted: fraction of the motor (0-1). looseness: disorder of the
    knots, as added strand stretch (ratio). stress_Pa: corrected stress. torque_Nm, pull_N: at the hooks.
    """

    distance_m: float
    turns: float
    stretch: float
    stops: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    peak_energy_Pa: float = 0.0
    relaxing_Pa: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    friction: float = 0.0
    knotted: float = 0.0
    looseness: float = 0.0
    stress_Pa: float = 0.0
    torque_Nm: float = 0.0
    pull_N: float = 0.0

    @property
    def stretch_at_worst(self) -> float:
        """Strand stretch where the knots are loosest: what decides about the break (see `Rubber.break_risk`)."""
        return self.stretch * (1.0 + self.looseness)


def relaxed(motor: Geometry, peak_energy_Pa: float = 0.0) -> History:
    """Return a motor that lies between the hooks at its loop length, without turns.

    peak_energy_Pa: from the earlier winds, see `earlier_peak_energy_Pa`; 0 for a new motor.
    """
    return History(motor.loop_m, 0.0, 1.0, peak_energy_Pa=peak_energy_Pa)


def advance(
    motor: Geometry, history: History, distance_m: float, turns: float, dt_s: float, rubber: Rubber = DEFAULT_RUBBER
) -> History:
    """Return the motor after it was brought to a hook distance and turns in `dt_s` seconds.

    A step may be coarse as long as strand stretch, turns and stress go one way within it: relaxation takes the
    stress at its end, the hysteresis loops do not depend on the step.
    """
    x = distance_m / motor.loop_m
    tau = turns / motor.turns_scale
    stretch = strand_stretch(x, tau)
    change = stretch - history.stretch
    s1, s2, s3, s4 = history.stops
    if change:
        moved = 2.0 * change / rubber.hysteresis_stretch
        s1 = _clipped(s1 + moved / STOP_WIDTHS[0])
        s2 = _clipped(s2 + moved / STOP_WIDTHS[1])
        s3 = _clipped(s3 + moved / STOP_WIDTHS[2])
        s4 = _clipped(s4 + moved / STOP_WIDTHS[3])
    begins = rubber.hysteresis_from
    share = 0.5 * rubber.hysteresis_share * min(1.0, max(0.0, (stretch - begins) / (rubber.hysteresis_full - begins)))
    held = 1.0 - share * (1.0 - 0.25 * (s1 + s2 + s3 + s4))
    energy = rubber.energy_Pa(stretch)
    peak_energy = max(history.peak_energy_Pa, energy)
    stress = rubber.stress_Pa(stretch) * held * softening(rubber, energy, peak_energy)
    q1, q2, q3, q4 = history.relaxing_Pa
    if dt_s > 0.0:
        q1 += (stress - q1) * -math.expm1(-dt_s / RELAXATION_TIMES_S[0])
        q2 += (stress - q2) * -math.expm1(-dt_s / RELAXATION_TIMES_S[1])
        q3 += (stress - q3) * -math.expm1(-dt_s / RELAXATION_TIMES_S[2])
        q4 += (stress - q4) * -math.expm1(-dt_s / RELAXATION_TIMES_S[3])
    stress = max(0.0, stress - rubber.relaxation_per_decade * (q1 + q2 + q3 + q4))
    knotted = 0.0 if stretch == 0.0 else max(0.0, 1.0 - x * math.sqrt(1.0 + rubber.knot_slope**2) / stretch)
    looseness = history.looseness
    if knotted > history.knotted:
        looseness += rubber.loose_by_slack * max(0.0, -change)
        if knotted < FIRST_ROW_FULL:
            looseness += rubber.loose_by_knotting * (knotted - history.knotted) / (1.0 + (x / 2.0) ** 4)
    friction = _clipped(history.friction + 2.0 * (turns - history.turns) / rubber.friction_turns)
    # 3λ² − x² is never 0 but for a motor without length or turns.
    common = motor.volume_m3 * stress * 2.0 / (3.0 * stretch * stretch - x * x) / motor.loop_m if stretch else 0.0
    torque = common * tau * motor.radius_m
    return History(
        distance_m,
        turns,
        stretch,
        stops=(s1, s2, s3, s4),
        peak_energy_Pa=peak_energy,
        relaxing_Pa=(q1, q2, q3, q4),
        friction=friction,
        knotted=knotted,
        looseness=looseness,
        stress_Pa=stress,
        torque_Nm=torque + abs(torque) * rubber.rope_friction * friction * knotted,
        pull_N=common * x * stretch,
    )


def softening(rubber: Rubber, energy_Pa: float, peak_energy_Pa: float) -> float:
    """Return the factor on stress of the first winds (Ogden & Roxburgh 1999), 1 for a broken-in motor.

    On the way beyond the largest energy so far it is 1/(1 − 1/r), the new rubber's.
    """
    r = rubber.softening_ratio
    if peak_energy_Pa == math.inf:
        return 1.0
    width = rubber.softening_energy_Pa + rubber.softening_growth * peak_energy_Pa
    return (1.0 - math.erf((peak_energy_Pa - energy_Pa) / width) / r) / (1.0 - 1.0 / r)


def permanent_set(rubber: Rubber, so_far: float, peak_stretch: float) -> float:
    """Return the permanent set (ratio) after a wind to `peak_stretch`, never less than `so_far`."""
    goal = max(0.0, rubber.set_limit * (peak_stretch - 4.0) / 5.0)
    return so_far + rubber.set_rate * max(0.0, goal - so_far)


def _clipped(share: float) -> float:
    return -1.0 if share < -1.0 else 1.0 if share > 1.0 else share
