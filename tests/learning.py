"""A lesson taken by a learner that is not there, through wire bytes and coach. All figures are invented."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from tests.scenario import MOTOR, PLAN, SETTINGS, TICK_S, WINDER
from winding_coach.base.inputs import KEYS, BytesArrived, Ended, KeyPressed, LinkUp, TimePassed
from winding_coach.cli.commands.lesson import seen_by
from winding_coach.coach.said import Alarm
from winding_coach.coach.step import Coach
from winding_coach.review.wind.figures import WindWatch
from winding_coach.review.wind.happened import WindReview, review_of
from winding_coach.simulator.bench import Truth
from winding_coach.simulator.learners import Learner, Manner
from winding_coach.simulator.lessons import Lesson, LessonBench

LONGEST_S = 400.0


@dataclass(frozen=True, slots=True)
class Taken:
    """A lesson that was taken. from_s: when the learner took over. truths: every tenth of a second since.

    alarms: codes of all that went on.
    """

    review: WindReview
    from_s: float
    to_s: float
    outcome: str
    truths: tuple[Truth, ...]
    alarms: frozenset[str]


def take(lesson: Lesson, manner: Manner, seed: int = 1) -> Taken:
    """Let a learner take a lesson to its end; it must end within `LONGEST_S`. Each is taken once and remembered."""
    return _taken(lesson, manner, seed)


@cache
def _taken(lesson: Lesson, manner: Manner, seed: int) -> Taken:
    bench = LessonBench(lesson, PLAN, MOTOR, WINDER, seed)
    coach, watch = Coach(SETTINGS), WindWatch(SETTINGS)
    learner = Learner(manner, np.random.default_rng(seed))
    coach.step(LinkUp(0.0, "simulated"))
    truths: list[Truth] = []
    alarms: set[str] = set()
    at_s, ticks = 0.0, 0
    while not (bench.done or coach.finished or str(coach.view.phase) == lesson.until):
        assert at_s < LONGEST_S, "the lesson did not end"
        at_s, ticks = round(at_s + TICK_S, 6), ticks + 1
        data = bench.advance(TICK_S)
        coach.step(BytesArrived(at_s, data) if data else TimePassed(at_s))
        alarms.update(said.code for said in coach.said if isinstance(said, Alarm) and said.active)
        if ticks % 4:
            continue
        mine = bench.handed_over_s is not None
        watch.see(coach.view, counted=mine)
        if mine and ticks % 8 == 0:
            truths.append(bench.truth)
        for press in learner.keys(seen_by(coach.view, bench.truth)) if mine else ():
            if press in KEYS:
                coach.step(KeyPressed(at_s, press))
            else:
                bench.command(press)
    coach.step(Ended(at_s))
    watch.see(coach.view)
    assert bench.handed_over_s is not None
    assert coach.summary is not None
    review = review_of(watch.figures, PLAN, WINDER.ratio, wanted=lesson.aims)
    return Taken(review, bench.handed_over_s, at_s, coach.summary.outcome, tuple(truths), frozenset(alarms))
