"""Practice lessons as a table: what each is about, where it takes over, what it is judged by; a bench for each. Pure.

The first part of a wind that a lesson is not about is wound by scripted hands; then the learner's take over. The same
seed gives the same motor, meter and first part. Judging is the review's, see `review.wind`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from winding_coach.rubber.figures import MotorFigures, Plan, WinderFigures
from winding_coach.rubber.law import DEFAULT_RUBBER, Rubber
from winding_coach.simulator.bench import Bench, MeterModel, Truth
from winding_coach.simulator.hands import STYLES, HandsState, KeyboardHands, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor

FARTHEST_SHARE = 1.15
"""The learner can walk out so far, over the plan's full stretch."""
PASS_SCORE = 75.0
"""Score of the review from which a lesson is passed; our own rule, no source."""
SAG_PER_NM = 40.0
"""Share by which a load slows the learner's crank: a quarter at the peak of a 1.4 g motor; assumed."""
STRENGTHS = (0.2, 0.8)
"""Where the strength of a lesson's motor lies among motors: neither the strongest nor the weakest; assumed."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """One lesson. aim: what to reach, in a sentence. how: what to do for it.

    aims: codes of the review that it is judged by. takes_over: what the scripted hands begin to do when the learner
    takes over, None: the learner does it all. cranking: whether the handle is turning then. walk_m: a step that is
    being taken then. until: the phase with which the lesson ends. torque_scales: of which one is drawn, stiffness
    over what the motor's label says. channels: of the meter.
    """

    name: str
    title: str
    aim: str
    how: str
    aims: tuple[str, ...]
    takes_over: str | None = None
    cranking: bool = False
    walk_m: float = 0.0
    wander: float = 0.04
    until: str = "done"
    torque_scales: tuple[float, ...] = (1.0,)
    channels: str = "c"


ALL_AIMS = (
    "even_crank",
    "path",
    "knots",
    "recovery",
    "rate_band",
    "stalls",
    "peak",
    "overshoot",
    "danger",
    "launch",
    "back_off",
    "whole",
)

LESSONS: tuple[Lesson, ...] = (
    Lesson(
        "even",
        "Crank evenly at full stretch",
        "Wind the stretched motor up to the walk-in at one even pace.",
        "You stand at full stretch. Start the crank, find a pace that keeps the rate in its band, and leave it there.",
        ("even_crank",),
        takes_over="winding stretched",
        wander=0.25,
        until="walk_in",
    ),
    Lesson(
        "walk-in",
        "Walk in on the path",
        "Come in to the hooks with torque close to the path's all the way.",
        "The crank is turning. Step in to each mark when it is asked for: slow at first, faster later.",
        ("path", "recovery"),
        takes_over="walking in",
        cranking=True,
        until="final_turns",
    ),
    Lesson(
        "recover",
        "Recover from a fall",
        "Get torque back after a step that was too large, and then finish the walk-in.",
        "You are stumbling in too far as you take over. Stay there, crank on, and step in only when torque is back.",
        ("recovery", "stalls"),
        takes_over="walking in",
        cranking=True,
        walk_m=-0.35,
        until="final_turns",
    ),
    Lesson(
        "no-stall",
        "Never let the crank stand",
        "Walk in to the hooks without the crank ever standing still, and hold torque as well.",
        "The crank stands as you take over: get it going first, then step and crank at the same time.",
        ("stalls", "path"),
        takes_over="walking in",
        until="final_turns",
    ),
    Lesson(
        "peak",
        "Stop at the peak",
        "Stop the crank within 3 % of the peak.",
        "You are at the hooks and cranking. Torque rises quickly now: slow down, and stop at the figure.",
        ("peak", "overshoot", "whole"),
        takes_over="final turns",
        cranking=True,
        until="ready",
    ),
    Lesson(
        "back-off",
        "Back off to launch torque",
        "Take turns off until the launch torque is there, and no more.",
        "The motor is at its peak. Turn the crank the other way, a turn at a time; torque falls steeply at first.",
        ("launch", "back_off"),
        takes_over="backing off",
        until="done",
    ),
    Lesson(
        "other-motor",
        "A motor stronger or weaker than its label",
        "Wind a motor whose torque is not its plan's, and stop before it is too far.",
        "Follow the figures on the screen, not those on the label; torque and turns both count.",
        ("path", "peak", "overshoot", "whole"),
        takes_over="winding stretched",
        torque_scales=(0.82, 1.2),
    ),
    Lesson(
        "no-sensor",
        "Without a crank sensor",
        "Wind by torque alone: the meter counts no turns.",
        "Follow torque: step in when it has come back, wait while it is low, stop at the peak.",
        ("path", "recovery", "peak", "overshoot", "launch", "whole"),
        channels="",
    ),
    Lesson(
        "whole",
        "A whole wind",
        "From the empty hook to a motor that is ready to launch.",
        "Set zero, hook up, stretch out, wind, walk in, stop at the peak, back off, unhook.",
        ALL_AIMS,
    ),
)
"""In the order in which they build up."""


def lesson_named(name: str) -> Lesson | None:
    """Return the lesson of a name, None if there is none."""
    return next((lesson for lesson in LESSONS if lesson.name == name), None)


class LearnersHands:
    """Scripted hands up to where the lesson takes over, the learner's from there."""

    def __init__(self, lesson: Lesson, script: ScriptedHands, learner: KeyboardHands) -> None:
        self._lesson = lesson
        self._script = script
        self._learner = learner
        self.handed_over = lesson.takes_over is None
        self.state: HandsState = learner.state if self.handed_over else script.state

    def command(self, name: str) -> None:
        """Do one of `hands.COMMANDS`; before the learner has taken over, nothing."""
        if self.handed_over:
            self._learner.command(name)

    def advance(self, dt_s: float, torque_Nm: float) -> HandsState:
        """Let time pass; return what the hands do now."""
        if self.handed_over:
            self.state = self._learner.advance(dt_s, torque_Nm)
            return self.state
        lesson, self.state = self._lesson, self._script.advance(dt_s, torque_Nm)
        if self.state.doing == lesson.takes_over:
            self._learner.take_over(self.state, cranking=lesson.cranking, walk_m=lesson.walk_m)
            self.handed_over = True
            self.state = self._learner.state
        return self.state


class LessonBench:
    """The bench of one lesson. `handed_over_s`: when the learner took over, in seconds of the bench, None before."""

    def __init__(
        self,
        lesson: Lesson,
        plan: Plan,
        motor: MotorFigures,
        winder: WinderFigures,
        seed: int,
        rubber: Rubber = DEFAULT_RUBBER,
    ) -> None:
        """plan: as the label has it. The motor's own stiffness and strength are drawn by the seed.

        Raises:
            FiguresError: figures that no motor can have.
        """
        rng = np.random.default_rng(seed)
        scale = lesson.torque_scales[int(rng.integers(len(lesson.torque_scales)))]
        strength_u = float(rng.uniform(*STRENGTHS))
        hooks_m = plan.walk_in[-1].distance_m
        wound = SimulatedMotor(motor, rubber, torque_scale=scale, strength_u=strength_u, hooks_m=hooks_m)
        meter = MeterModel(channels=lesson.channels, ripple=float(rng.uniform(0.01, 0.03)))
        learner = KeyboardHands(
            motor,
            plan.walk_in[-1].distance_m,
            FARTHEST_SHARE * plan.stretch_distance_m,
            wander=lesson.wander,
            sag_per_Nm=SAG_PER_NM,
            rng=rng,
        )
        self.lesson = lesson
        self._hands = LearnersHands(lesson, ScriptedHands(plan, motor, winder, STYLES["good"], rng), learner)
        self._bench = Bench(wound, self._hands, winder.ratio, meter, rng)
        self.handed_over_s: float | None = 0.0 if self._hands.handed_over else None

    @property
    def done(self) -> bool:
        """Whether the learner has finished."""
        return self._bench.done

    @property
    def truth(self) -> Truth:
        """What is so now, whatever the meter says."""
        return self._bench.truth

    def command(self, name: str) -> None:
        """Let the learner's hands do one of `hands.COMMANDS`."""
        self._hands.command(name)

    def answer(self, data: bytes) -> None:
        """Take what the host sent."""
        self._bench.answer(data)

    def advance(self, dt_s: float) -> bytes:
        """Let time pass; return the bytes that the meter sent."""
        data = self._bench.advance(dt_s)
        if self.handed_over_s is None and self._hands.handed_over:
            self.handed_over_s = self._bench.truth.at_s
        return data
