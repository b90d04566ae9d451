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
    """One lesson. aim: what to reach, in a sentence. how: what to do for it. by_itself: what the practised hands do
    without a key, so that nobody looks for it in vain.

    aims: codes of the review that it is judged by. takes_over: what the scripted hands begin to do when the learner
    takes over, None: the learner does it all. cranking: whether the handle is turning then. walk_m: a step that is
    being taken then. until: the phase with which the lesson ends. torque_scales: of which one is drawn, stiffness
    over what the motor's label says. channels: of the meter.
    """

    name: str
    title: str
    aim: str
    how: str
    by_itself: str
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

_SAGS = "By itself the crank keeps turning, strays a little, and slows by a quarter as torque rises."

LESSONS: tuple[Lesson, ...] = (
    Lesson(
        "even",
        "Crank evenly at full stretch",
        "Wind the stretched motor up to the walk-in at one even pace.",
        "Up starts the crank. Look at its pace every second or two, and bring it back to 1.2 turns/s: up and down.",
        "By itself the pace strays by a fifth within seconds, and sags as torque rises.",
        ("even_crank",),
        takes_over="winding stretched",
        wander=0.18,
        until="walk_in",
    ),
    Lesson(
        "walk-in",
        "Walk in on the path",
        "Come in to the hooks with torque close to the path's all the way.",
        "The crank turns. Right is a step of 5 cm: on WALK ON about one per second, on SLOWER half, on FASTER twice as"
        " many, on WAIT none.",
        _SAGS,
        ("path", "knots", "recovery"),
        takes_over="walking in",
        cranking=True,
        until="final_turns",
    ),
    Lesson(
        "recover",
        "Recover from a fall",
        "Get torque back after too large a step, then finish the walk-in.",
        "Stay there and keep cranking while the word is WAIT. Then step in as it says: right is 5 cm.",
        "By itself the body stumbles in by 35 cm as you take over; the crank keeps turning.",
        ("recovery", "stalls"),
        takes_over="walking in",
        cranking=True,
        walk_m=-0.35,
        until="final_turns",
    ),
    Lesson(
        "no-stall",
        "Keep the crank turning",
        "Walk in to the hooks without ever stopping the crank.",
        "Up starts the crank, at once. Then step in as the word says (right) while it turns; do not let go of it (x).",
        "By itself nothing turns at first: the crank is stopped as you take over.",
        ("stalls", "path"),
        takes_over="walking in",
        until="final_turns",
    ),
    Lesson(
        "peak",
        "Stop at the target",
        "Stop the crank within 3 % of the target.",
        "Down slows the crank: do so from nine tenths of the target on. x lets go of it: do so on STOP.",
        "By itself the crank keeps turning; let go, it stops within half a turn and nothing turns back.",
        ("peak", "overshoot", "danger", "whole"),
        takes_over="final turns",
        cranking=True,
        until="ready",
    ),
    Lesson(
        "back-off",
        "Back off to launch torque",
        "Take turns off until the launch torque is there, and no more.",
        "r turns the crank the other way; slow it at once (down). x lets go of it: do so at the launch torque. Then k"
        " unhooks.",
        "By itself nothing turns: the motor is at its peak. Torque falls steeply at first.",
        ("launch", "back_off"),
        takes_over="backing off",
        until="done",
    ),
    Lesson(
        "other-motor",
        "A motor unlike its label",
        "Wind a motor whose torque is not its plan's, not too far.",
        "Follow the screen, not the label: torque and turns both count, and the first of them to be there says stop.",
        _SAGS,
        ("path", "peak", "overshoot", "danger", "whole"),
        takes_over="winding stretched",
        torque_scales=(0.82, 1.2),
    ),
    Lesson(
        "no-sensor",
        "Without a crank sensor",
        "Wind by torque alone: the meter counts no turns.",
        "Hook up (k), step out, crank. Step in when torque is back, wait while it is low, stop at the target, back"
        " off.",
        _SAGS,
        ("path", "recovery", "peak", "overshoot", "danger", "launch", "whole"),
        channels="",
    ),
    Lesson(
        "whole",
        "A complete wind",
        "From the empty hook to a motor that is ready to launch.",
        "Hook up (k), stretch out, crank, walk in, stop at the target (x), back off (r), unhook (k).",
        _SAGS,
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
