"""Hands that wind: time and the torque they feel in; crank angle, where they stand and what they do out.

A script is a generator that is asked once a tick; all chance comes from a random generator passed in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from winding_coach.rubber.figures import MotorFigures, Plan, WinderFigures
from winding_coach.rubber.path import PlanPath

if TYPE_CHECKING:
    import numpy as np

CRANK_SETTLES_S = 0.35
"""Time in which the hand changes its speed; assumed."""
WALK_M_PER_S = 0.7
STEP_S = 0.5
FEELS_S = 0.6
"""A person follows the figure on a meter with this lag; assumed."""
GONE_SHARE = 0.05
"""Torque below this share of its top while hooked: the motor broke in the hands."""


@dataclass(frozen=True, slots=True)
class HandsState:
    """crank_rev: revolutions of the handle so far, less in reverse. doing: a word for what the hands do."""

    crank_rev: float
    crank_rev_per_s: float
    distance_m: float
    hooked: bool
    doing: str
    done: bool


class Hands(Protocol):
    """What winds a motor."""

    state: HandsState

    def advance(self, dt_s: float, torque_Nm: float) -> HandsState:
        """Let time pass; return what the hands do now."""


@dataclass(frozen=True, slots=True)
class Style:
    """How a person winds. Speeds in revolutions of the handle a second, shares 0-1; all invented.

    speed, unevenness: of cranking. stall_chance: of standing still after a step-in, for stall_s. ahead: share of
    the walk-in that they are too far in. steps_m: shortest and longest step-in. late: share by which the
    full-stretch winding is overdone. peak, launch: times the planned torque.
    """

    speed: float = 1.25
    unevenness: float = 0.05
    stall_chance: float = 0.0
    stall_s: float = 0.0
    ahead: float = 0.0
    late: float = 0.0
    peak: float = 1.0
    launch: float = 1.0
    steps_m: tuple[float, float] = (0.02, 0.045)


STYLES: dict[str, Style] = {
    "good": Style(),
    "stall": Style(stall_chance=0.15, stall_s=2.4),
    "hasty": Style(ahead=0.3, steps_m=(0.15, 0.3)),
    "overwind": Style(peak=5.0, speed=1.5),
    "late": Style(late=0.12),
    "early": Style(late=-0.2),
}
"""Styles by the name that the command line takes."""

Tick = Iterator[None]


class ScriptedHands:
    """Winds a motor by its plan, in a style, from the empty hook to the unhooked motor; lets go of one that breaks."""

    def __init__(
        self,
        plan: Plan,
        motor: MotorFigures,
        winder: WinderFigures,
        style: Style,
        rng: np.random.Generator,
        *,
        pauses: float = 1.0,
    ) -> None:
        """pauses: how much longer the hands rest after the peak and at launch. Whoever looks at a meter that runs k
        times as fast does so in real time, and needs k times as long to see that torque stays."""
        self._plan, self._pauses = plan, pauses
        self._path = PlanPath(plan, motor)
        self._ratio = winder.ratio
        self._loop_m = motor.loop_m
        self._style = style
        self._rng = rng
        self._dt_s = 0.0
        self._feels_Nm = 0.0
        self._top_Nm = 0.0
        self._broke = False
        self._crank_rev = 0.0
        self._speed = 0.0
        self._wanted_speed = 0.0
        self._distance_m = motor.loop_m
        self._hooked = False
        self._doing = "waiting"
        self._done = False
        self._ticks = self._wind()
        self.state = self._look()

    def advance(self, dt_s: float, torque_Nm: float) -> HandsState:
        """Let time pass; `torque_Nm` is what the meter shows."""
        self._dt_s = dt_s
        self._feels_Nm += (torque_Nm - self._feels_Nm) * min(1.0, dt_s / FEELS_S)
        self._top_Nm = max(self._top_Nm, self._feels_Nm)
        if self._hooked and not self._broke and self._feels_Nm < GONE_SHARE * self._top_Nm:
            self._broke = True
            self._ticks = self._let_go()
        if next(self._ticks, self) is self:
            self._done = True
            self._wanted_speed = 0.0
        self._speed += (self._wanted_speed - self._speed) * min(1.0, dt_s / CRANK_SETTLES_S)
        if abs(self._speed) < 0.02 and self._wanted_speed == 0.0:
            self._speed = 0.0
        self._crank_rev += self._speed * dt_s
        self.state = self._look()
        return self.state

    def _look(self) -> HandsState:
        return HandsState(self._crank_rev, self._speed, self._distance_m, self._hooked, self._doing, self._done)

    # -- the script

    def _wind(self) -> Tick:
        plan, style = self._plan, self._style
        yield from self._wait(4.0)
        self._doing, self._hooked = "hooking up", True
        yield from self._wait(2.0)
        self._doing = "stretching out"
        yield from self._walk(plan.stretch_distance_m)
        yield from self._wait(1.5)
        self._doing = "winding stretched"
        stretched = plan.stretched_turns * (1.0 + style.late)
        yield from self._crank(lambda: self._turns >= stretched)
        self._doing = "walking in"
        yield from self._walk_in()
        self._doing = "final turns"
        yield from self._crank(lambda: self._feels_Nm >= style.peak * plan.peak_torque_Nm)
        yield from self._stop()
        yield from self._wait(1.2 * self._pauses)
        self._doing = "backing off"
        yield from self._back_off(style.launch * plan.launch_torque_Nm)
        yield from self._stop()
        self._doing = "holding"
        yield from self._wait(6.0 * self._pauses)
        self._doing, self._hooked = "unhooked", False
        yield from self._wait(3.0)

    def _let_go(self) -> Tick:
        """What is left to do when the motor broke."""
        self._doing = "broken"
        yield from self._stop()
        yield from self._wait(6.0)
        self._doing, self._hooked = "unhooked", False
        yield from self._wait(3.0)

    @property
    def _turns(self) -> float:
        return self._crank_rev * self._ratio

    def _wait(self, seconds: float) -> Tick:
        passed = 0.0
        while passed < seconds:
            passed += self._dt_s
            yield

    def _walk(self, to_m: float) -> Tick:
        while abs(to_m - self._distance_m) > 1e-9:
            step = WALK_M_PER_S * self._dt_s
            self._distance_m += min(max(to_m - self._distance_m, -step), step)
            yield

    def _stop(self) -> Tick:
        self._wanted_speed = 0.0
        while self._speed:
            yield

    def _pace(self, base: float) -> float:
        """A speed that wanders a little."""
        return base * (1.0 + self._style.unevenness * float(self._rng.standard_normal()))

    def _crank(self, until: Callable[[], bool]) -> Tick:
        next_pace = 0.0
        passed = 0.0
        while not until():
            if passed >= next_pace:
                self._wanted_speed = self._pace(self._style.speed)
                next_pace = passed + 1.0
            passed += self._dt_s
            yield

    def _walk_in(self) -> Tick:
        """Step in when the path has moved on by a step; stall or run ahead as the style has it."""
        hooks_m = self._plan.walk_in[-1].distance_m
        first, last = self._plan.stretched_turns, self._path.walked_in_turns
        ahead = self._style.ahead * (last - first)
        while self._distance_m > hooks_m + 1e-9:
            step_m = float(self._rng.uniform(*self._style.steps_m))
            wanted_m = max(self._distance_m - step_m, hooks_m)
            due = self._turns_for(wanted_m, first, last)
            yield from self._crank(lambda due=due: self._turns + ahead >= due)  # type: ignore[misc]
            yield from self._step_to(wanted_m)
            if self._rng.random() < self._style.stall_chance:
                self._wanted_speed = 0.0
                yield from self._wait(self._style.stall_s)

    def _turns_for(self, distance_m: float, first: float, last: float) -> float:
        """Turns at which the path is at a distance; half a step early, so that steps straddle it."""
        for _ in range(30):
            middle = 0.5 * (first + last)
            if self._path.distance_at(middle) > distance_m:
                first = middle
            else:
                last = middle
        return first

    def _step_to(self, to_m: float) -> Tick:
        begin_m, passed = self._distance_m, 0.0
        while passed < STEP_S:
            passed += self._dt_s
            smooth = 0.5 - 0.5 * math.cos(math.pi * min(passed / STEP_S, 1.0))
            self._distance_m = begin_m + (to_m - begin_m) * smooth
            yield
        self._distance_m = to_m

    def _back_off(self, to_Nm: float) -> Tick:
        """Turn by turn, looking at the meter after each."""
        while self._feels_Nm > to_Nm and self._crank_rev > 0.0:
            goal = self._crank_rev - 1.0
            self._wanted_speed = -0.9
            while self._crank_rev > goal:
                yield
            self._wanted_speed = 0.0
            yield from self._wait(1.0)


CRANK_STEP = 0.15
STRAYS_S = 5.0
"""Time within which a hand's pace strays; assumed."""
SLOWEST_SHARE = 0.3
"""Neither load nor straying takes more of the pace than leaves this."""
FASTEST_REV_PER_S = 3.0
KEY_STEP_M, KEY_BIG_STEP_M = 0.05, 0.30
"""Half a mark of the coach: 10 cm at once would take 40 % off the torque of a 30 cm loop."""
COMMANDS = (
    "crank_faster",
    "crank_slower",
    "crank_stop",
    "reverse",
    "step_in",
    "step_out",
    "big_step_in",
    "big_step_out",
    "hook",
    "finish",
)
"""What `KeyboardHands.command` takes."""
CRANKS = frozenset({"crank_faster", "crank_slower", "reverse"})
"""What is heeded only with a motor on the hook."""


class KeyboardHands:
    """Hands that do what keys say: for practice."""

    def __init__(
        self,
        motor: MotorFigures,
        nearest_m: float,
        farthest_m: float,
        *,
        wander: float = 0.0,
        sag_per_Nm: float = 0.0,
        rng: np.random.Generator | None = None,
    ) -> None:
        """wander: standard deviation (share) by which the pace strays from what was asked for, within seconds, if
        there is an `rng`; sag_per_Nm: share by which a load slows it. Without them the pace is as even as a motor's,
        and there is nothing to learn about an even one."""
        self._wander, self._sag_per_Nm, self._rng = wander, sag_per_Nm, rng
        self._strays = 0.0
        self._nearest_m, self._farthest_m = nearest_m, farthest_m
        self._crank_rev = 0.0
        self._speed = 0.0
        self._wanted_speed = 0.0
        self._cruise = 1.2
        self._distance_m = self._goal_m = motor.loop_m
        self._walks_m_per_s = 0.0
        self._hooked = False
        self._done = False
        self.state = self._look()

    def take_over(self, state: HandsState, *, cranking: bool, walk_m: float = 0.0) -> None:
        """Go on where other hands are. cranking: the handle keeps its speed, else it is stopped. walk_m: they are
        stepping so far out (in, if negative) as it happens."""
        self._crank_rev, self._speed = state.crank_rev, state.crank_rev_per_s
        self._wanted_speed = state.crank_rev_per_s if cranking else 0.0
        self._hooked, self._distance_m = state.hooked, state.distance_m
        self._walk_to(state.distance_m + walk_m)
        self.state = self._look()

    def _walk_to(self, goal_m: float) -> None:
        """A step takes its time, however short; a long way is walked."""
        self._goal_m = min(max(goal_m, self._nearest_m), self._farthest_m)
        self._walks_m_per_s = min(WALK_M_PER_S, abs(self._goal_m - self._distance_m) / STEP_S)

    def command(self, name: str) -> None:
        """Do one of `COMMANDS`; others are ignored."""
        steps = {
            "step_in": -KEY_STEP_M,
            "step_out": KEY_STEP_M,
            "big_step_in": -KEY_BIG_STEP_M,
            "big_step_out": KEY_BIG_STEP_M,
        }
        if name in CRANKS and not self._hooked:
            return  # Presses pile up else, and the crank races as soon as the motor hangs.
        if name in steps:
            self._walk_to(self._goal_m + steps[name])
        elif name == "crank_faster":
            if self._wanted_speed == 0.0:
                self._wanted_speed = self._cruise
            else:
                self._change(CRANK_STEP)
        elif name == "crank_slower":
            self._change(-CRANK_STEP)
        elif name == "crank_stop":
            self._wanted_speed = 0.0
        elif name == "reverse":
            self._wanted_speed = -(self._wanted_speed or self._cruise)
        elif name == "hook":
            self._hooked, self._wanted_speed = not self._hooked, 0.0
        elif name == "finish":
            self._done = True

    def _change(self, by: float) -> None:
        sign = -1.0 if self._wanted_speed < 0.0 else 1.0
        self._wanted_speed = sign * min(max(abs(self._wanted_speed) + by, 0.0), FASTEST_REV_PER_S)

    def advance(self, dt_s: float, torque_Nm: float) -> HandsState:
        """Let time pass; `torque_Nm` is what the crank is turned against."""
        if self._rng is not None:
            # Ornstein-Uhlenbeck: strays about nothing with the standard deviation asked for, whatever the step.
            kick = self._wander * math.sqrt(2.0 * dt_s / STRAYS_S)
            self._strays += kick * float(self._rng.standard_normal()) - self._strays * dt_s / STRAYS_S
        pace = (1.0 + self._strays) * max(1.0 - self._sag_per_Nm * torque_Nm, SLOWEST_SHARE)
        goal = self._wanted_speed * max(pace, SLOWEST_SHARE)
        self._speed += (goal - self._speed) * min(1.0, dt_s / CRANK_SETTLES_S)
        if abs(self._speed) < 0.02 and self._wanted_speed == 0.0:
            self._speed = 0.0
        if self._hooked:
            self._crank_rev += self._speed * dt_s
        step = self._walks_m_per_s * dt_s
        self._distance_m += min(max(self._goal_m - self._distance_m, -step), step)
        self.state = self._look()
        return self.state

    def _look(self) -> HandsState:
        doing = "cranking" if self._speed > 0 else "backing off" if self._speed < 0 else "standing"
        return HandsState(self._crank_rev, self._speed, self._distance_m, self._hooked, doing, self._done)
