"""The invented scenario that tests and recordings share, and simulated winds as inputs. All figures are invented."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

import numpy as np

from winding_coach.base.inputs import BytesArrived, Input, LinkUp
from winding_coach.coach.said import Said
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.meter.calibration import SIMULATED
from winding_coach.rubber.figures import ModelFigures, MotorFigures, WinderFigures
from winding_coach.rubber.plan import make_plan
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.faults import FaultyBench, parse_fault
from winding_coach.simulator.hands import STYLES, ScriptedHands, Style
from winding_coach.simulator.motor import SimulatedMotor

MOTOR = MotorFigures(loop_m=0.30, mass_kg=1.40e-3, orings_kg=0.08e-3, name="th-07")
WINDER = WinderFigures(ratio=10.0)
MODEL = ModelFigures(hooks_m=0.22, name="Thistledown")
PLAN = make_plan(MOTOR, WINDER, MODEL)
SETTINGS = CoachSettings(MOTOR, PLAN, SIMULATED, WINDER, MODEL)
_SMALL = MotorFigures(loop_m=0.10, mass_kg=0.467e-3, orings_kg=0.027e-3, name="th-02")
SMALL = CoachSettings(_SMALL, make_plan(_SMALL, WINDER, ModelFigures(hooks_m=0.075)), SIMULATED, WINDER)
"""A third of the motor, from the same strip: wound in a third of the time, to the same torque."""
TICK_S = 0.0125


@lru_cache(maxsize=32)
def wind(
    style: str | Style = "good",
    seed: int = 3,
    meter: MeterModel | None = None,
    faults: tuple[str, ...] = (),
    torque_scale: float = 1.0,
    settings: CoachSettings = SETTINGS,
) -> tuple[Input, ...]:
    """Return the inputs of a simulated wind, from the link's opening to the unhooked motor (no `Ended`)."""
    rng = np.random.default_rng(seed)
    how = STYLES[style] if isinstance(style, str) else style
    motor = SimulatedMotor(settings.motor, torque_scale=torque_scale)
    hands = ScriptedHands(settings.plan, settings.motor, settings.winder, how, rng)
    bench = Bench(motor, hands, settings.winder.ratio, meter or MeterModel(), rng)
    faulty = FaultyBench(bench, tuple(parse_fault(text) for text in faults), rng)
    inputs: list[Input] = [LinkUp(0.0, "simulated")]
    at_s = 0.0
    while not faulty.done and at_s < 400.0:
        at_s = round(at_s + TICK_S, 6)
        data = faulty.advance(TICK_S)
        if data:
            inputs.append(BytesArrived(at_s, data + faulty.crank_sent()))
    return tuple(inputs)


def coached(inputs: Iterable[Input], settings: CoachSettings = SETTINGS) -> tuple[Coach, list[Said]]:
    """Run a coach over inputs; return it and all it said."""
    coach = Coach(settings)
    said: list[Said] = []
    for event in inputs:
        coach.step(event)
        said.extend(coach.said)
    return coach, said
