"""A lesson taken by a learner that is not there, through wire bytes and coach. All figures are invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.scenario import MOTOR, PLAN, SETTINGS, TICK_S, WINDER
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.inputs import KEYS, BytesArrived, Ended, KeyPressed, LinkUp, TimePassed
from winding_coach.review.aims import Score, score_of
from winding_coach.review.winds import Wind, WindWatcher
from winding_coach.simulator.bench import Truth
from winding_coach.simulator.learners import Learner, Manner, Seen
from winding_coach.simulator.lessons import Lesson, LessonBench

LONGEST_S = 400.0


@dataclass(frozen=True, slots=True)
class Taken:
    """A lesson that was taken. from_s: when the learner took over. truths: every tenth of a second."""

    wind: Wind
    score: Score
    from_s: float
    to_s: float
    truths: tuple[Truth, ...]


def seen_by(view: CoachView, truth: Truth) -> Seen:
    """What a learner sees of a coach's view, and of their own hands."""
    torque, wanted, turns = view.reading.torque_Nm, view.targets.torque_Nm, view.reading.turns
    return Seen(
        at_s=view.at_s,
        phase=str(view.phase),
        prompt=None if view.prompt is None else view.prompt.code,
        alarms=frozenset(alarm.code for alarm in view.alarms),
        stand_at_m=view.targets.stand_at_m,
        torque_share=None if torque is None or wanted is None else torque / wanted,
        turns_share=None if turns is None or view.targets.turns is None else turns / view.targets.turns,
        hooked=truth.hooked,
        distance_m=truth.distance_m,
        crank_rev_per_s=truth.crank_rev_per_s,
    )


def take(lesson: Lesson, manner: Manner, seed: int = 1) -> Taken:
    """Let a learner take a lesson to its end; it must end within `LONGEST_S`."""
    bench = LessonBench(lesson, PLAN, MOTOR, WINDER, seed)
    coach = Coach(SETTINGS)
    learner = Learner(manner, np.random.default_rng(seed))
    watcher: WindWatcher | None = None
    coach.step(LinkUp(0.0, "simulated"))
    before: list[CoachView] = []
    truths: list[Truth] = []
    at_s, ticks = 0.0, 0
    while not (bench.done or coach.finished):
        assert at_s < LONGEST_S, "the lesson did not end"
        at_s, ticks = round(at_s + TICK_S, 6), ticks + 1
        data = bench.advance(TICK_S)
        coach.step(BytesArrived(at_s, data) if data else TimePassed(at_s))
        if ticks % 4:
            continue
        view = coach.view
        if watcher is None and bench.handed_over_s is not None:
            watcher = WindWatcher(SETTINGS, bench.handed_over_s)
            for earlier in before:
                watcher.add(earlier)
        if watcher is None:
            before.append(view)
            continue
        watcher.add(view)
        if ticks % 8 == 0:
            truths.append(bench.truth)
        for command in learner.keys(seen_by(view, bench.truth)):
            if command in KEYS:
                coach.step(KeyPressed(at_s, command))
            else:
                bench.command(command)
        if str(view.phase) == lesson.until:
            break
    coach.step(Ended(at_s))
    assert watcher is not None
    watcher.add(coach.view)
    wind = watcher.wind
    return Taken(wind, score_of(wind, lesson.aims), bench.handed_over_s or 0.0, at_s, tuple(truths))
