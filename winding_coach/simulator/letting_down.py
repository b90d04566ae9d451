"""A motor that was wound and flown, and hands that let it down on the meter: for trying the count of the turns left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from winding_coach.rubber.figures import MotorFigures, Plan
from winding_coach.rubber.path import PlanPath
from winding_coach.simulator.hands import CRANK_SETTLES_S, WALK_M_PER_S, HandsState
from winding_coach.simulator.motor import SimulatedMotor

if TYPE_CHECKING:
    import numpy as np

WOUND_TURNS_PER_S, FLOWN_TURNS_PER_S = 12.0, 4.0
STEPS = 240
REST_S = 90.0
"""From the landing to the meter; assumed."""
SPEED_REV_PER_S, UNEVENNESS = 1.1, 0.12
LEFT_AGAIN_REV = 0.6
"""So far the crank goes on after the motor is empty: nobody stops at the very turn."""


@dataclass(frozen=True, slots=True)
class Landed:
    """A motor after its flight, as it lies on the table. peak_Nm, peak_turns: of its wind; turns: still in it."""

    motor: SimulatedMotor
    turns: float
    peak_Nm: float
    peak_turns: float
    launch_turns: float


def landed(
    plan: Plan, figures: MotorFigures, left_share: float, *, torque_scale: float = 1.0, reached: float = 1.0
) -> Landed:
    """Return a motor wound by its plan, backed off and flown until a share of its launch turns was left.

    reached: turns at the peak over the plan's target.
    """
    path, hooks_m = PlanPath(plan, figures), plan.walk_in[-1].distance_m
    motor = SimulatedMotor(figures, torque_scale=torque_scale, strength_u=0.05, hooks_m=hooks_m)
    peak_turns = reached * plan.target_turns
    for i in range(STEPS + 1):
        # Out to full stretch first, then up the plan's path.
        motor.move(0.0, figures.loop_m + (plan.stretch_distance_m - figures.loop_m) * i / STEPS, 6.0 / STEPS)
    for i in range(1, STEPS + 1):
        turns = peak_turns * i / STEPS
        motor.move(turns, path.distance_at(min(turns, plan.target_turns)), peak_turns / STEPS / WOUND_TURNS_PER_S)
    peak_Nm = motor.torque_Nm
    launch_turns = peak_turns - plan.back_off_turns
    for begin, end, rate, rest_s in (
        (peak_turns, launch_turns, WOUND_TURNS_PER_S, 20.0),
        (launch_turns, left_share * launch_turns, FLOWN_TURNS_PER_S, REST_S),
    ):
        for i in range(1, STEPS + 1):
            turns = begin + (end - begin) * i / STEPS
            motor.move(turns, hooks_m, max(abs(end - begin) / STEPS / rate, 1e-3))
        motor.move(end, hooks_m, rest_s)
    return Landed(motor, left_share * launch_turns, peak_Nm, peak_turns, launch_turns)


class LettingDown:
    """Hands that hook a wound motor up, step out with it, let it down by the crank until it is empty, and unhook."""

    def __init__(self, turns: float, ratio: float, hooks_m: float, out_m: float, rng: np.random.Generator) -> None:
        """out_m: how far they step out; as far as the hooks for one that is too full."""
        self._crank_rev, self._speed, self._wanted = turns / ratio, 0.0, 0.0
        self._distance_m, self._out_m, self._rng = hooks_m, out_m, rng
        self._hooked, self._done, self._doing = False, False, "waiting"
        self._dt_s = 0.0
        self._ticks = self._let_down()
        self.state = self._look()

    def advance(self, dt_s: float, torque_Nm: float) -> HandsState:
        """Let time pass; the torque is felt by nobody, the crank is let down to the end."""
        self._dt_s = dt_s
        if next(self._ticks, self) is self:
            self._done = True
        self._speed += (self._wanted - self._speed) * min(1.0, dt_s / CRANK_SETTLES_S)
        self._crank_rev += self._speed * dt_s
        self.state = self._look()
        return self.state

    def _look(self) -> HandsState:
        return HandsState(self._crank_rev, self._speed, self._distance_m, self._hooked, self._doing, self._done)

    def _wait(self, seconds: float) -> Iterator[None]:
        passed = 0.0
        while passed < seconds:
            passed += self._dt_s
            yield

    def _let_down(self) -> Iterator[None]:
        yield from self._wait(5.0)
        self._doing, self._hooked = "hooked up", True
        yield from self._wait(1.0)
        self._doing = "stepping out"
        while self._distance_m < self._out_m:
            self._distance_m = min(self._distance_m + WALK_M_PER_S * self._dt_s, self._out_m)
            yield
        yield from self._wait(5.0)
        self._doing = "letting down"
        while self._crank_rev > -LEFT_AGAIN_REV:
            self._wanted = -SPEED_REV_PER_S * max(1.0 + UNEVENNESS * float(self._rng.standard_normal()), 0.2)
            yield from self._wait(1.0)
        self._doing, self._wanted = "empty", 0.0
        yield from self._wait(4.0)
        self._doing, self._hooked = "unhooked", False
        yield from self._wait(2.0)
