"""Practice lessons as a table: what each is about, where it takes over, what it is judged by; a bench for each. Pure.

The first part of a wind that a lesson is not about is wound by scripted hands; then the learner's take over. The same
seed gives the same motor, meter and first part. Judging is the review's, see `review.aims`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from winding_coach.rubber.figures import MotorFigures, Plan, WinderFigures
from winding_coach.simulator.bench import Bench, MeterModel, Truth
from winding_coach.simulator.hands import STYLES, HandsState, KeyboardHands, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor

FARTHEST_SHARE = 1.15
"""The learner can walk out so far, over the plan's full stretch."""
PASS_SHARE = 0.75
"""Score from which a lesson is passed; assumed."""


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
    until: str = "done"
    torque_scales: tuple[float, ...] = (1.0,)
    channels: str = "c"


ALL_AIMS = (
    "even_crank",
    "pace",
    "hold_torque",
    "recover",
    "keep_turning",
    "stop_at_peak",
    "launch_torque",
    "whole_motor",
)

LESSONS: tuple[Lesson, ...] = (
    Lesson(
        "even",
        "Crank evenly at full stretch",
        "Wind the stretched motor up to the walk-in at one even pace.",
        "You stand at full stretch. Start the crank, find a pace that keeps the rate in its band, and leave it there.",
        ("even_crank", "pace"),
        takes_over="winding stretched",
        until="walk_in",
    ),
    Lesson(
        "walk-in",
        "Walk in on the path",
        "Come in to the hooks with torque close to the path's all the way.",
        "The crank is turning. Step in to each mark when it is asked for: slow at first, faster later.",
        ("hold_torque", "recover"),
        takes_over="walking in",
        cranking=True,
        until="final_turns",
    ),
    Lesson(
        "recover",
        "Recover from a fall",
        "Get torque back after a step that was too large, and then finish the walk-in.",
        "You are stumbling in too far as you take over. Stay there, crank on, and step in only when torque is back.",
        ("recover", "keep_turning"),
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
        ("keep_turning", "hold_torque"),
        takes_over="walking in",
        until="final_turns",
    ),
    Lesson(
        "peak",
        "Stop at the peak",
        "Stop the crank within 3 % of the peak.",
        "You are at the hooks and cranking. Torque rises quickly now: slow down, and stop at the figure.",
        ("stop_at_peak", "whole_motor"),
        takes_over="final turns",
        cranking=True,
        until="ready",
    ),
    Lesson(
        "back-off",
        "Back off to launch torque",
        "Take turns off until the launch torque is there, and no more.",
        "The motor is at its peak. Turn the crank the other way, a turn at a time; torque falls steeply at first.",
        ("launch_torque",),
        takes_over="backing off",
        until="done",
    ),
    Lesson(
        "other-motor",
        "A motor stronger or weaker than its label",
        "Wind a motor whose torque is not its plan's, and stop before it is too far.",
        "Watch torque and turns: whichever reaches its figure first says stop.",
        ("hold_torque", "stop_at_peak", "whole_motor"),
        takes_over="winding stretched",
        torque_scales=(0.82, 1.2),
    ),
    Lesson(
        "no-sensor",
        "Without a crank sensor",
        "Wind by torque alone: the meter counts no turns.",
        "Follow torque: step in when it is above the path's, wait when it is below, stop at the peak.",
        ("pace", "hold_torque", "stop_at_peak", "launch_torque", "whole_motor"),
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

    def __init__(self, lesson: Lesson, plan: Plan, motor: MotorFigures, winder: WinderFigures, seed: int) -> None:
        """
        Raises:
            FiguresError: figures that no motor can have.
        """
        rng = np.random.default_rng(seed)
        scale = lesson.torque_scales[int(rng.integers(len(lesson.torque_scales)))]
        meter = MeterModel(channels=lesson.channels, ripple=float(rng.uniform(0.01, 0.03)))
        nearest_m = plan.walk_in[-1].distance_m
        learner = KeyboardHands(motor, nearest_m, FARTHEST_SHARE * plan.stretch_distance_m)
        script = ScriptedHands(plan, motor, winder, STYLES["good"], rng)
        self.lesson = lesson
        self._hands = LearnersHands(lesson, script, learner)
        self._bench = Bench(SimulatedMotor(motor, torque_scale=scale), self._hands, winder.ratio, meter, rng)
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
