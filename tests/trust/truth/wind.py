"""One wind: true motor, robot person, meter and link beside the coach, and the judge over all of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random
from typing import Protocol

from tests.trust.truth.judge import Judge, Label, Truth
from tests.trust.truth.person import Person
from tests.trust.truth.port import Port
from tests.trust.truth.sender import Hand, Link, Sender
from tests.trust.truth.untruths import Untruth
from tests.trust.truth.world import World
from winding_coach.base.inputs import Ended, Input
from winding_coach.coach.said import Said
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.rubber.figures import FiguresError

TICK_S = 0.1
"""A look of the program, of the person and of the judge."""
LONGEST_S = 300.0
AFTER_COMING_BACK_S = 4.0


class Coached(Protocol):
    """What is used of a coach: the contract of `Coach`."""

    @property
    def said(self) -> tuple[Said, ...]:
        """What the last input made it say."""

    @property
    def finished(self) -> bool:
        """Whether the wind is closed."""

    @property
    def view(self) -> CoachView:
        """What is seen."""

    def step(self, event: Input) -> None:
        """Take an input."""


MakeCoach = Callable[[CoachSettings], Coached]


@dataclass
class Outcome:
    """What became of a wind. most: highest share of the true target that was on the motor, by turns or by strand
    stretch; most_turns: by turns alone. risk: this motor breaks on
    the plan's own wind. ended: how the person ended it. unknown_past: asked for more past the target, where no
    program could know. broken_rules: rule, and when, with what truth."""

    most: float
    most_turns: float
    broke: bool
    risk: bool
    ended: str
    unknown_past: bool
    lasted_s: float
    last_prompt: str
    dangers: list[str]
    alarms: list[str]
    clues: list[str]
    broken_rules: dict[str, str] = field(default_factory=dict)
    broke_at: float | None = None


class Run:
    """A wind in progress."""

    def __init__(self, world: World, make: MakeCoach = Coach) -> None:
        """
        Raises:
            FiguresError: the program refuses such figures.
        """
        self.world = world
        self.at_s = 0.0
        settings = world.settings()
        self.told, self.true = settings.plan, world.plan()
        rng = Random(f"wind {world.seed}")
        loaded = ""
        if world.untruth("weight at tare"):
            loaded = "weight"
        if world.untruth("wound motor at tare"):
            loaded = "motor"
        self.motor, self.label = world.true_motor(), world.labelled_motor()
        self._target_stretch = self.motor.geometry.strand_stretch(world.hooks_m, self.true.target_turns)
        self._label_stretch = self.label.geometry.strand_stretch(world.hooks_m, self.told.target_turns)
        peak_Nm = self.told.peak_torque_Nm
        self.person = Person(
            rng, world.person == "sloppy", world.walks, world.motor.loop_m, world.hooks_m, peak_Nm, loaded
        )
        self.sender = Sender(world, peak_Nm, Random(f"lines {world.seed}"))
        self.link, self.port = Link(self.sender), Port(lambda: self.at_s)
        self.coach = make(settings)
        rating_Nm = settings.calibration.rating_Nm or 1.0
        plan = self.true
        self.judge = Judge(
            self.told,
            rating_Nm,
            settings.winder.limit_Nm,
            self.told.stretch_distance_m,
            plan.walk_in[-1].distance_m,
            honest=not world.untruths and world.person == "obeys" and world.limit is None,
            hides_age=_hides_age(world),
        )
        self._rev_at_zero = 0.0
        self._turns_kept = world.turns_in
        self._stopped_until_s = -1.0
        self._back_s: float | None = None
        self._broken_seen = False
        self._most_turns = 0.0
        self.alarms: list[str] = []
        self.broke_at: float | None = None
        self._hand = Hand(0.0, 0.0, 0.0, world.motor.loop_m, loaded)
        self._counted: int | None = None
        for untruth in world.untruths:
            if untruth.at == 0.0:
                self.sender.begin(untruth, 0.0)

    def run(self) -> Outcome:
        """Wind until it is over."""
        tick = 0
        while not self.person.done and not self.coach.finished and self.at_s < LONGEST_S:
            tick += 1
            self.at_s = round(tick * TICK_S, 6)
            self._move()
            self._begin()
            self._lines()
            if self.at_s > self._stopped_until_s:
                self._look()
            if "raised" in self.judge.broken:
                break
        ended = self.person.done or ("closed" if self.coach.finished else "time")
        self.judge.at_the_end(self._truth(), ended)
        if not self.coach.finished and "raised" not in self.judge.broken:
            self._step(Ended(self.at_s))
        prompt = None if "raised" in self.judge.broken else self.coach.view.prompt
        return Outcome(
            self.judge.past,
            self._most_turns,
            self.motor.broken,
            self.world.at_risk(),
            ended,
            self.judge.unknown_past,
            self.at_s,
            "" if prompt is None else prompt.code,
            sorted(self.judge.dangers),
            self.alarms,
            sorted(self.judge.clues.found),
            self.judge.broken,
            self.broke_at,
        )

    def _move(self) -> None:
        person, motor = self.person, self.motor
        person.advance(TICK_S, motor.torque_Nm if person.hooked else 0.0, motor.broken)
        if person.hooked:
            turns = self._turns_kept + (person.revolutions - self._rev_at_zero) * self.world.ratio
            motor.move(max(turns, 0.0), person.distance_m, TICK_S)
        else:
            # A crank that turns with nothing on it puts no turns on.
            self._rev_at_zero = person.revolutions
            self._turns_kept = motor.turns
        if not motor.broken:
            self._most_turns = max(self._most_turns, motor.turns / self.true.target_turns)
        if motor.broken and not self._broken_seen:
            self._broken_seen = True
            self.broke_at = self._share()
            self.judge.motor_broke(self._truth(), self.world.at_risk())

    def _share(self) -> float:
        """Of the target: turns, or as many turns at the hooks as stretch the strands alike. Far out fewer break it."""
        stretched: float = (self.motor.strand_stretch / self._target_stretch) ** 1.5
        return max(self.motor.turns / self.true.target_turns, stretched)

    def _begin(self) -> None:
        share = self.motor.turns / self.true.target_turns
        for untruth in self.world.untruths:
            if untruth.at > 0.0 and share >= untruth.at and untruth.kind not in self.sender.begun:
                self.sender.begin(untruth, self.at_s)
                self._happens(untruth)

    def _happens(self, untruth: Untruth) -> None:
        if untruth.kind == "slips off":
            self.person.slip_off()
            kept = self.motor.turns * untruth.amount
            self.motor.move(kept, self.person.distance_m, 0.2)
            self._turns_kept, self._rev_at_zero = kept, self.person.revolutions
        elif untruth.kind == "breaks early":
            self.motor.broken = True
            self._broken_seen = True
            self.broke_at = self._share()
        elif untruth.kind == "process stopped":
            self._stopped_until_s = self.at_s + untruth.lasts_s

    def _lines(self) -> None:
        person, motor = self.person, self.motor
        torque_Nm = motor.torque_Nm if person.hooked else 0.0
        hand = Hand(self.at_s, torque_Nm, person.revolutions, person.distance_m, person.loaded)
        stopped = self.at_s <= self._stopped_until_s
        self.port.arrive(self.link.carry(self.sender.lines(self._hand, hand), self.at_s, TICK_S), nobody_reads=stopped)
        self._hand = hand
        if stopped:
            return
        for key in person.keys:
            self.judge.pressed(key)
            self.port.press(key)
        person.keys.clear()
        for event in self.port.inputs():
            arrived = self.port.lines_in(event)
            self.judge.arrived(arrived)
            if arrived:
                self._counted = arrived[-1].counted
            self._step(event)

    def _step(self, event: Input) -> None:
        if self.coach.finished:
            return
        try:
            self.coach.step(event)
            said = self.coach.said
        except Exception as error:
            self.judge.failed(error, self._truth())
            return
        self.judge.heard(said, self.at_s, self._truth())
        for one in said:
            told = one.as_json()
            if told["event"] == "alarm" and told["active"]:
                self.alarms.append(f"{told['code']} ({told['level']})")

    def _truth(self) -> Truth:
        person, motor = self.person, self.motor
        return Truth(
            self.at_s,
            self._share(),
            motor.torque_Nm,
            person.distance_m,
            person.hooked,
            motor.broken,
            person.turning,
            person.off,
        )

    def _look(self) -> None:
        truth = self._truth()
        try:
            view = self.coach.view
            counted = None
            if self._counted is not None:
                counted = max(0.0, self._counted * self.world.told_ratio)
            self.judge.look(view, truth, self._label(counted))
        except Exception as error:
            self.judge.failed(error, truth)
            return
        self.person.see(view)
        self._back(truth)

    def _label(self, counted: float | None) -> Label | None:
        """What the labelled motor shows, led as the coach sees this one led, with what is left in it. None once a motor
        came off, another meter counts or the sensor is dead: then no program knows its turns by count."""
        lost = bool({"slips off", "another board", "crank sensor dies"} & set(self.sender.begun))
        if counted is None or not self.person.hooked or lost:
            return None
        label, distance_m = self.label, self.person.distance_m
        label.move(counted + self.world.turns_in, distance_m, TICK_S)
        stretched = (label.strand_stretch / self._label_stretch) ** 1.5
        share = max(counted / self.told.target_turns, 0.0 if self.world.turns_in else stretched)
        return Label(counted, share, label.torque_Nm)

    def _back(self, truth: Truth) -> None:
        slipped = "slips off" in self.sender.begun
        if not slipped or not truth.hooked or truth.broken:
            self._back_s = None
            return
        self._back_s = self.at_s if self._back_s is None else self._back_s
        if self.at_s - self._back_s > AFTER_COMING_BACK_S:
            self.judge.came_back(self.coach.view, truth)
            self._back_s = 1e9


def _hides_age(world: World) -> bool:
    """A clock that is wrong can make a backlog look like none: no program can tell."""
    clocks = ("clock frozen", "clock runs wrong", "clock jumps")
    return any(world.untruth(kind) for kind in clocks)


def wound(world: World, make: MakeCoach = Coach) -> Outcome:
    """Wind once. Figures that the program refuses are an outcome too."""
    try:
        run = Run(world, make)
    except FiguresError as error:
        return Outcome(0.0, 0.0, False, False, "refused", False, 0.0, "", [], [], [str(error)])
    return run.run()
