"""The world of one wind, drawn by seed: the true motor, what the coach was given of it, the meter, what is untrue."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from random import Random

from tests.trust.truth.untruths import Untruth, drawn
from winding_coach.coach.settings import CoachSettings
from winding_coach.meter.calibration import SIMULATED
from winding_coach.rubber.figures import ModelFigures, MotorFigures, Plan, WinderFigures
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.plan import make_plan
from winding_coach.simulator.motor import SimulatedMotor

USUAL = MotorFigures(loop_m=0.30, mass_kg=1.40e-3, orings_kg=0.08e-3, name="th-07")
HOOKS_SHARE = 0.733
CALIBRATED = replace(SIMULATED, more={"repeats": {"pairs": 4000.0, "equal": 8.0}})
"""The meter's calibration, with how often it repeats a value: 200 counts of noise repeat one in 500 lines."""
NM_PER_COUNT, ZERO_COUNTS = SIMULATED.Nm_per_count, SIMULATED.zero_counts


@dataclass(frozen=True, slots=True)
class World:
    """motor, ratio: the true ones. scale: torque over that of the figures. strength_u: see `SimulatedMotor`.
    limit: rating of the winder over the plan's peak, None without. zero_off: how far the meter's zero is from its
    calibration's, a share of the peak. person: "obeys" or "sloppy"; walks: how they walk in."""

    seed: int = 1_000_000
    motor: MotorFigures = USUAL
    ratio: float = 10.0
    scale: float = 1.0
    strength_u: float = 0.5
    channels: str = "cd"
    lines_per_s: float = 40.0
    noise_Nm: float = 8e-6
    ripple: float = 0.02
    zero_off: float = 0.009
    limit: float | None = None
    person: str = "obeys"
    walks: str = "spread"
    untruths: tuple[Untruth, ...] = ()

    def untruth(self, kind: str) -> Untruth | None:
        """Return the untruth of a kind, None where that is true."""
        return next((one for one in self.untruths if one.kind == kind), None)

    def amount(self, kind: str, usual: float) -> float:
        """Return the size of an untruth, `usual` where that is true."""
        found = self.untruth(kind)
        return usual if found is None else found.amount

    @property
    def hooks_m(self) -> float:
        """Distance between the model's hooks."""
        return round(HOOKS_SHARE * self.motor.loop_m, 3)

    @property
    def turns_in(self) -> float:
        """Turns that the motor holds before the wind."""
        return max(self.amount("turns in", 0.0), self.amount("wound motor at tare", 0.0))

    @property
    def told_motor(self) -> MotorFigures:
        """The figures that the coach is given."""
        motor = self.motor
        return replace(
            motor,
            loop_m=motor.loop_m * self.amount("loop typed", 1.0),
            mass_kg=motor.orings_kg + (motor.mass_kg - motor.orings_kg) * self.amount("mass typed", 1.0),
            strands=round(motor.strands * self.amount("strands typed", 1.0)),
        )

    @property
    def told_ratio(self) -> float:
        """The winder's ratio that the coach is given."""
        return self.ratio * self.amount("ratio typed", 1.0)

    def settings(self) -> CoachSettings:
        """What the coach is given.

        Raises:
            FiguresError: such figures cannot be, and the program says so.
        """
        return _settings(self.told_motor, self.told_ratio, self.hooks_m, self.limit)

    def plan(self) -> Plan:
        """The plan of the true motor."""
        return _plan(self.motor, self.ratio, self.hooks_m)

    def at_risk(self) -> bool:
        """Whether this motor breaks on the plan's own wind, with nobody's errors."""
        return _worst_stretch(self.motor, self.ratio, self.hooks_m) > self.breaks_at

    @property
    def breaks_at(self) -> float:
        """Strand stretch, the knots' disorder with it, at which this motor breaks: Weibull, `physics` of the plan."""
        share: float = (-math.log(self.strength_u) / math.log(2.0)) ** (1.0 / DEFAULT_RUBBER.break_shape)
        return DEFAULT_RUBBER.break_stretch * share

    def true_motor(self) -> SimulatedMotor:
        """A motor as it is before this wind, with the turns that it holds."""
        motor = SimulatedMotor(self.motor, torque_scale=self.scale, strength_u=self.strength_u, hooks_m=self.hooks_m)
        motor.move(self.turns_in, self.motor.loop_m, 1.0)
        return motor

    def labelled_motor(self) -> SimulatedMotor:
        """The motor that the coach was given, empty: what an honest wind would show."""
        return SimulatedMotor(self.told_motor, strength_u=1e-9, hooks_m=self.hooks_m)

    def without(self, untruth: Untruth) -> World:
        """The same world, one untruth less."""
        return replace(self, untruths=tuple(one for one in self.untruths if one != untruth))


@lru_cache(maxsize=64)
def _plan(motor: MotorFigures, ratio: float, hooks_m: float) -> Plan:
    return make_plan(motor, WinderFigures(ratio), ModelFigures(hooks_m))


@lru_cache(maxsize=64)
def _settings(motor: MotorFigures, ratio: float, hooks_m: float, limit: float | None) -> CoachSettings:
    model = ModelFigures(hooks_m)
    peak_Nm = make_plan(motor, WinderFigures(ratio), model).peak_torque_Nm
    winder = WinderFigures(ratio, None if limit is None else limit * peak_Nm)
    plan = make_plan(motor, winder, model, meter_limit_Nm=SIMULATED.rating_Nm)
    return CoachSettings(motor, plan, CALIBRATED, winder, model)


@lru_cache(maxsize=64)
def _worst_stretch(motor: MotorFigures, ratio: float, hooks_m: float) -> float:
    plan = _plan(motor, ratio, hooks_m)
    path = PlanPath(plan, motor)
    return max(path.stretch_at_worst(plan.target_turns * (0.3 + 0.7 * step / 60)) for step in range(61))


LOOPS_M, DENSITIES = (0.20, 0.24, 0.28, 0.32), (1.7e-3, 2.2e-3, 2.7e-3)


def world(seed: int) -> World:
    """Draw a world: honest people and motors of all kinds (torque ±8 %), and what is untrue."""
    rng = Random(f"world {seed}")
    loop_m, density = rng.choice(LOOPS_M), rng.choice(DENSITIES)
    rubber_kg = 2.0 * loop_m * density
    motor = MotorFigures(loop_m, rubber_kg * 1.06, rubber_kg * 0.06, use=rng.choice((1, 2, 3)), name="invented")
    return World(
        seed,
        motor,
        ratio=rng.choice((10.0, 15.0, 16.0)),
        scale=rng.uniform(0.92, 1.08),
        strength_u=rng.uniform(1e-6, 1.0 - 1e-6),
        channels=rng.choice(("c", "c", "cd", "cd", "q", "", "d")),
        lines_per_s=rng.choice((10.0, 20.0, 40.0, 40.0, 80.0)),
        noise_Nm=rng.choice((3e-6, 8e-6, 3e-5)),
        ripple=rng.choice((0.0, 0.01, 0.02, 0.04)),
        zero_off=rng.uniform(-0.01, 0.01),
        limit=rng.choice((None, None, None, 0.85)),
        person=rng.choice(("obeys", "obeys", "sloppy")),
        walks=rng.choice(("spread", "spread", "at once", "strides")),
        untruths=drawn(rng),
    )
