"""A wind that goes as it likes: hands that do what they are told, faults at any moment, and the coach guarded."""

from __future__ import annotations

import copy
from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np

from tests.scenario import MODEL, MOTOR
from tests.trust.safety import Guard
from winding_coach.base.inputs import BytesArrived, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.coach.phases import WINDING
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.frames import NO_DATA, RAW_MAX, SATURATED, FrameParser, Sample, encode_sample
from winding_coach.rubber.figures import WinderFigures
from winding_coach.rubber.path import PlanPath
from winding_coach.rubber.plan import make_plan
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.hands import HandsState
from winding_coach.simulator.motor import SimulatedMotor

TICK_S = 0.025
LINES_PER_S = 40.0


class FreeHands:
    """Hands whose crank speed, place and hook are set from outside; they get there in their own time."""

    def __init__(self) -> None:
        self.rev_per_s = 0.0
        self.goal_m = MOTOR.loop_m
        self.hooked = False
        self.state = HandsState(0.0, 0.0, MOTOR.loop_m, False, "free", False)

    def advance(self, dt_s: float, torque_Nm: float) -> HandsState:
        """Let time pass."""
        was = self.state
        speed = was.crank_rev_per_s + (self.rev_per_s - was.crank_rev_per_s) * min(1.0, dt_s / 0.35)
        step = float(np.clip(self.goal_m - was.distance_m, -0.7 * dt_s, 0.7 * dt_s))
        turned = was.crank_rev + speed * dt_s
        self.state = HandsState(turned, speed, was.distance_m + step, self.hooked, "free", False)
        return self.state


@dataclass(frozen=True)
class Case:
    """A motor, a winder and a meter. rating, limit: times the plan's peak without them; stiff: times the plan's."""

    name: str
    channels: str = "c"
    stiff: float = 1.0
    limit: float | None = None
    rating: float | None = None
    dead_crank: bool = False


CASES = (
    Case("usual"),
    Case("stiff motor, weak winder", stiff=1.13, limit=0.9),
    Case("soft motor, weak meter", stiff=0.88, rating=0.85, channels="cd"),
    Case("stiff motor, weak meter, two sensors", stiff=1.14, rating=1.02, channels="q"),
    Case("no crank sensor", channels=""),
    Case("dead crank sensor", dead_crank=True),
    Case("very stiff: not this motor", stiff=1.35, channels="cd"),
)
MOST_UNCOUNTED = 20.0
"""So many turns of the crank in one go, none counted: by then a sensor must be known to be dead."""
STARTS = (0.0, 0.02, 0.4, 0.7, 0.85, 0.97, 1.0)
"""Share of the planned turns that are on when chance takes over."""


@lru_cache(maxsize=16)
def settings_for(case: Case) -> CoachSettings:
    """What the coach knows of a case."""
    winder = WinderFigures(ratio=10.0)
    peak_Nm = make_plan(MOTOR, winder, MODEL).peak_torque_Nm
    limit = None if case.limit is None else case.limit * peak_Nm
    rating = SIMULATED.rating_Nm if case.rating is None else case.rating * peak_Nm
    winder = replace(winder, limit_Nm=limit)
    plan = make_plan(MOTOR, winder, MODEL, meter_limit_Nm=rating)
    return CoachSettings(MOTOR, plan, replace(SIMULATED, rating_Nm=rating), winder, MODEL)


class Wind:
    """The bench, the hands and what happened so far."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.settings = settings_for(case)
        meter = MeterModel(lines_per_s=LINES_PER_S, channels=case.channels, calibration=self.settings.calibration)
        self.hands = FreeHands()
        self.motor = SimulatedMotor(MOTOR, torque_scale=case.stiff)
        self.bench = Bench(self.motor, self.hands, 10.0, meter, np.random.default_rng(5))
        self.path = PlanPath(self.settings.plan, MOTOR)
        self.at_s = 0.0
        self.silent_s = 0.0
        self.plugged = True
        self.spoil = ""
        self.parser = FrameParser()
        self.inputs: list[Input] = [LinkUp(0.0, "meter")]

    def tick(self) -> list[Input]:
        """Let a tick pass; return its inputs."""
        self.at_s = round(self.at_s + TICK_S, 6)
        data = self._spoilt(self.bench.advance(TICK_S))
        if data and self.plugged:
            self.silent_s = 0.0
            return [BytesArrived(self.at_s, data)]
        self.silent_s += TICK_S
        if self.silent_s >= 0.1 - 1e-9:
            self.silent_s = 0.0
            return [TimePassed(self.at_s)]
        return []

    def _spoilt(self, data: bytes) -> bytes:
        if self.spoil == "silent":
            return b""
        if self.spoil == "rubbish":
            return bytes(byte ^ 0x55 for byte in data)
        if not (self.case.dead_crank or self.spoil):
            return data
        lines = []
        for frame in self.parser.feed(data):
            if not isinstance(frame, Sample):
                continue
            if self.case.dead_crank:
                frame = replace(frame, crank=0)
            if self.spoil == "no data":
                frame = replace(frame, raw=None, flags=frame.flags | NO_DATA)
            elif self.spoil == "saturated":
                frame = replace(frame, raw=RAW_MAX, flags=frame.flags | SATURATED)
            lines.append(encode_sample(frame))
        return b"".join(lines)

    def plug(self, plugged: bool) -> list[Input]:
        """Pull the lead, or put it back."""
        if plugged == self.plugged:
            return []
        self.plugged = plugged
        self.parser = FrameParser()
        return [LinkUp(self.at_s, "meter") if plugged else LinkDown(self.at_s, "the meter was unplugged")]

    def by_the_plan(self, share: float) -> None:
        """Wind to a share of the planned turns as the plan has it: zero, hook up, stretch, crank, walk in."""
        for _ in range(round(3.0 / TICK_S)):
            self.inputs += self.tick()
        if share == 0.0:
            return
        self.hands.hooked = True
        self.hands.goal_m = self.settings.plan.stretch_distance_m
        for _ in range(round(5.0 / TICK_S)):
            self.inputs += self.tick()
        self.hands.rev_per_s = 1.3
        while self.motor.turns < share * self.settings.plan.target_turns and not self.motor.broken and self.at_s < 200:
            self.hands.goal_m = self.path.distance_at(self.motor.turns)
            self.inputs += self.tick()


@cache
def wound(case: Case, share: float) -> tuple[Wind, Guard]:
    """A wind up to there and the guarded coach that saw it; both are copied before they go on."""
    wind = Wind(case)
    wind.by_the_plan(share)
    guard = Guard(Coach(wind.settings))
    for event in wind.inputs:
        guard.step(event)
    wind.inputs.clear()
    return wind, guard


class Guarded:
    """A wind from one of the starts, with a guarded coach."""

    def __init__(self, case: Case, share: float) -> None:
        self.wind, self.guard = copy.deepcopy(wound(case, share))
        self.coach = self.guard.coach
        self._turned = 0.0

    def crank_dies(self) -> None:
        """The crank sensor gives no pulse from here."""
        self.wind.bench.crank_dead = True

    def take(self, events: list[Input]) -> None:
        """Pass inputs on."""
        for event in events:
            self.guard.step(event)

    def go_on(self, seconds: float) -> None:
        """Let time pass."""
        for _ in range(round(seconds / TICK_S)):
            before = self.wind.hands.state.crank_rev
            self.take(self.wind.tick())
            self._believes_no_dead_sensor(self.wind.hands.state.crank_rev - before)

    def _believes_no_dead_sensor(self, turned: float) -> None:
        """Turned on without a break for long, with lines that can be read: then a count that stands is not believed."""
        wind, view = self.wind, self.coach.view
        upset = turned <= 0.0 or wind.spoil or not wind.plugged or view.phase not in WINDING or view.stale
        self._turned = 0.0 if upset or not wind.bench.crank_dead else self._turned + turned
        if self._turned > MOST_UNCOUNTED and view.reading.turns_source == "counted":
            self.guard.broken.append(f"at {wind.at_s:.2f} s in {view.phase}: believes a crank sensor that is dead")

    def press(self, key: str) -> None:
        """Press a key of the coach."""
        self.take([KeyPressed(self.wind.at_s, key)])

    def sleep(self, seconds: float) -> None:
        """The computer sleeps, and the clock has gone on when it wakes; the motor stays as it is."""
        self.wind.at_s = round(self.wind.at_s + seconds, 6)
        self.take([TimePassed(self.wind.at_s)])
