"""One wind of one person by seed, led by the coach, by nobody or by the oracle; what became of it out.

In one process the coach is stepped by its inputs; `through` a pipe the same inputs go as trace rows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, Protocol

import numpy as np

from tests.bench.walkers.alone import Alone
from tests.bench.walkers.body import Body
from tests.bench.walkers.follower import Follower
from tests.bench.walkers.mind import Mind
from tests.bench.walkers.motor import LAWS, WalkedMotor
from tests.bench.walkers.oracle import Oracle
from tests.bench.walkers.people import Drawn, draw
from tests.bench.walkers.senses import Senses, Word
from tests.bench.walkers.wire import Wire
from tests.scenario import MODEL, MOTOR, WINDER
from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkUp
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.meter.calibration import SIMULATED
from winding_coach.rubber.figures import MotorFigures, Plan
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.plan import make_plan

TICK_S, TICKS_TOGETHER = 0.025, 2
"""The motor is moved each tick; eyes, mind and the port's bunches of bytes come every so many ticks."""
LONGEST_S = 500.0
LABELLED = replace(MOTOR, use=3, share=0.90)
"""The motor as its label has it: to 90 % of the breaking turns."""


@lru_cache(maxsize=64)
def plan_of(label: float) -> tuple[MotorFigures, Plan, PlanPath]:
    """Return figures, plan and path of a motor with so many times the label's mass."""
    figures = replace(LABELLED, mass_kg=LABELLED.mass_kg * label, orings_kg=LABELLED.orings_kg * label)
    plan = make_plan(figures, WINDER, MODEL)
    return figures, plan, PlanPath(plan, figures)


PLAN = plan_of(1.0)[1]
SETTINGS = CoachSettings(LABELLED, PLAN, SIMULATED, WINDER, MODEL)
HOOKS_M = MODEL.hooks_m or 0.2


@dataclass(frozen=True, slots=True)
class Cell:
    """Who is led how. led: coach, alone or oracle. channels of the meter: "" torque alone, "c", "cd".

    without: a setting of the coach that is switched off to compare with. feet, will, plain, lines_per_s: see
    `people.draw`.
    """

    led: str = "coach"
    channels: str = ""
    feet: str | None = None
    will: str | None = None
    plain: bool = False
    lines_per_s: float | None = 80.0
    without: str = ""


@dataclass(slots=True)
class Truth:
    """What is so at one moment. stage: of the mind. off: of strand stretch, over the path's, less 1; None off it."""

    at_s: float
    turns: float
    distance_m: float
    torque_Nm: float
    speed: float
    stage: str
    hooked: bool


@dataclass(slots=True)
class Wound:
    """A wind that is over: everything a judge needs. heard: each thing said with the truth then."""

    cell: Cell
    drawn: Drawn
    plan: Plan
    path: PlanPath
    risk: dict[str, float] = field(default_factory=dict)
    broken: bool = False
    peak_turns: float = 0.0
    peak_Nm: float = 0.0
    launch_turns: float | None = None
    launch_Nm: float | None = None
    lasted_s: float = 0.0
    walked_s: float = 0.0
    off_path_s: float = 0.0
    meant: str = ""
    ended: bool = False
    steps: int = 0
    standing_s: float = 0.0
    heard: list[tuple[Word, Truth]] = field(default_factory=list)


class Leader(Protocol):
    """A coach: inputs in, what each made it say out."""

    def step(self, event: Input) -> list[Word]:
        """Answer one input."""


class InProcess:
    """The coach itself."""

    def __init__(self, settings: CoachSettings) -> None:
        self.coach = Coach(settings)

    def step(self, event: Input) -> list[Word]:
        """Answer one input."""
        self.coach.step(event)
        return [said.as_json() for said in self.coach.said]


Looked = Callable[[Truth, Any, WalkedMotor], None]


def wind(cell: Cell, seed: int, *, leader: Leader | None = None, looked: Looked | None = None) -> Wound:
    """Wind one motor. leader: in place of the coach in this process. looked: called twenty times a second."""
    return _Wind(cell, seed, leader, looked).run()


class _Wind:
    def __init__(self, cell: Cell, seed: int, leader: Leader | None, looked: Looked | None) -> None:
        self._looked = looked
        drawn = draw(seed, feet=cell.feet, will=cell.will, plain=cell.plain, lines_per_s=cell.lines_per_s)
        figures, plan, path = plan_of(drawn.label)
        self.wound = Wound(cell, drawn, plan, path)
        rng = np.random.default_rng([seed, 1607])
        self._motor = WalkedMotor(
            figures, torque_scale=drawn.scale, hooks_m=HOOKS_M, turns_in=drawn.way * drawn.turns_in
        )
        self._body = Body(drawn.walker, LABELLED.loop_m, HOOKS_M, rng)
        self._senses = Senses(drawn.walker, rng)
        mind_of = Alone if cell.led == "alone" else Follower
        # Who knows a plan knows the label's.
        self._mind: Mind = mind_of(drawn, self._body, self._senses, PLAN, WINDER.ratio)
        if isinstance(self._mind, Follower):
            self._mind.shown = "d" in cell.channels
        self._wire = Wire(drawn, cell.channels, WINDER.ratio, PLAN.peak_torque_Nm, np.random.default_rng([seed, 1608]))
        self._leader: Leader | None = None
        self._oracle: Oracle | None = None
        if cell.led == "coach":
            off: dict[str, Any] = {cell.without: False} if cell.without else {}
            self._leader = leader or InProcess(replace(SETTINGS, **off))
        elif cell.led == "oracle" and isinstance(self._mind, Follower):
            self._oracle = Oracle(plan, path, self._mind, WINDER.ratio)
        self._turned_back = False

    def run(self) -> Wound:
        """Wind to the end."""
        wound, body, motor = self.wound, self._body, self._motor
        self._answer(LinkUp(0.0, "bench"))
        if isinstance(self._mind, Alone):
            self._mind.begin()
        number = 0
        while not self._mind.done and number * TICK_S < LONGEST_S and not motor.broken:
            data = b"".join(self._tick() for _ in range(TICKS_TOGETHER))
            number += TICKS_TOGETHER
            at_s = round(number * TICK_S, 6)
            if data:
                self._answer(BytesArrived(at_s, data))
            if self._oracle is not None:
                for word in self._oracle.said(at_s, body, motor, TICK_S * TICKS_TOGETHER):
                    self._hear(word)
            self._attend(at_s)
        wound.lasted_s, wound.risk, wound.broken = number * TICK_S, {law: motor.risk(law) for law in LAWS}, motor.broken
        wound.meant, wound.steps = self._mind.meant, body.steps
        wound.ended = self._mind.done
        self._answer(Ended(round(number * TICK_S, 6)))
        return wound

    def _tick(self) -> bytes:
        body, motor, drawn = self._body, self._motor, self.wound.drawn
        torque_Nm = motor.torque_Nm
        body.advance(TICK_S, abs(torque_Nm) / PLAN.peak_torque_Nm)
        turns = body.rev * WINDER.ratio
        motor.move(drawn.way * (turns + drawn.turns_in), body.distance_m, TICK_S)
        if self.wound.cell.led == "oracle":
            return b""
        shown_Nm = motor.torque_Nm if body.hooked else 0.0
        return self._wire.advance(TICK_S, shown_Nm, body.rev, body.distance_m, motor.now.knotted)

    def _answer(self, event: Input) -> None:
        if self._leader is not None:
            for word in self._leader.step(event):
                self._hear(word)

    def _hear(self, word: Word) -> None:
        self.wound.heard.append((word, self._truth()))
        if word["event"] in ("prompt", "alarm"):
            self._senses.said(self._body.at_s, word)

    def _attend(self, at_s: float) -> None:
        body, mind, wound = self._body, self._mind, self.wound
        seen_Nm = self._wire.shown_Nm if self._oracle is None else abs(self._motor.torque_Nm)
        stares = isinstance(mind, Alone) and mind.stares
        self._senses.look(at_s, seen_Nm, walking=body.moving and mind.stage == "winding", stares=stares)
        mind.decide()
        while mind.pressed:
            self._answer(KeyPressed(at_s, mind.pressed.pop(0)))
        body.wander(TICK_S * TICKS_TOGETHER)
        truth = self._truth()
        if mind.stage in ("winding", "stopped", "backing"):
            self._note(truth)
        elif mind.stage == "holding":
            wound.launch_turns, wound.launch_Nm = truth.turns, truth.torque_Nm
        if self._looked is not None:
            self._looked(truth, getattr(self._leader, "coach", None), self._motor)

    def _note(self, truth: Truth) -> None:
        wound = self.wound
        if truth.turns > wound.peak_turns:
            wound.peak_turns = truth.turns
        if truth.turns > wound.peak_turns - 20.0:
            wound.peak_Nm = max(wound.peak_Nm, truth.torque_Nm)
        stretch_m = self._mind.stretch_m
        if self._mind.stage == "winding" and HOOKS_M + 0.01 < truth.distance_m < stretch_m - 0.02:
            step_s = TICK_S * TICKS_TOGETHER
            wound.walked_s += step_s
            off = self._motor.now.stretch / wound.path.walk_stretch - 1.0
            wound.off_path_s += step_s * (abs(off) > 0.03)
            wound.standing_s += step_s * (abs(truth.speed) < 0.15)

    def _truth(self) -> Truth:
        body, motor = self._body, self._motor
        torque_Nm = abs(motor.torque_Nm) if body.hooked else 0.0
        return Truth(
            body.at_s, abs(motor.now.turns), body.distance_m, torque_Nm, body.speed, self._mind.stage, body.hooked
        )
