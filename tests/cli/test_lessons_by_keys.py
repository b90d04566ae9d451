"""Every lesson through the real screen, key by key: who does as told passes, who ignores its point does not.

Time is simulated and moves only when the player lets it; the screen is the real one, in a terminal of 80 by 24.
"""

from __future__ import annotations

import asyncio

import numpy as np
import pytest
from textual.pilot import Pilot

from tests.scenario import SETTINGS, TICK_S
from tests.screen.views import shown
from winding_coach.base.inputs import KEYS, BytesArrived, Ended, KeyPressed, LinkUp, TimePassed
from winding_coach.cli.commands.lesson import LessonWatch, result_of, seen_by, told_at_the_end, told_before
from winding_coach.coach.curve import Curve
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.screen.app import COACH_KEYS, CoachApp
from winding_coach.screen.remark import Remark
from winding_coach.screen.wording import HAND_KEYS
from winding_coach.simulator.learners import MANNERS, Learner, Manner
from winding_coach.simulator.lessons import LESSONS, PASS_SCORE, Lesson, LessonBench

SIZE = (80, 24)
LONGEST_S = 400.0
LOOKS_S = 0.05
KEY_OF = {command: key for key, (command, _) in HAND_KEYS.items()}
COACH_KEY_OF = {each.action[len("press('") : -2]: each.key.split(",")[0] for each in COACH_KEYS}
IGNORES: dict[str, Manner] = {
    "even": Manner(heeds=False),
    "walk-in": MANNERS["hasty"],
    "recover": MANNERS["hasty"],
    "no-stall": MANNERS["staller"],
    "peak": MANNERS["dreamer"],
    "back-off": MANNERS["dreamer"],
    "other-motor": MANNERS["dreamer"],
    "no-sensor": MANNERS["dreamer"],
    "whole": MANNERS["dreamer"],
}
"""Who ignores what the lesson is about: never brings the pace back; steps ahead of the word; steps while torque is
down; lets the crank stand; hears late that it is time to stop."""


class Practice:
    """A lesson that the screen looks at; time moves by `goes_on` alone."""

    replaying = False
    trace_name = None
    trouble = None

    def __init__(self, lesson: Lesson, seed: int) -> None:
        self.curve = Curve()
        self.at_s = 0.0
        self._coach = Coach(SETTINGS)
        self.bench = LessonBench(lesson, SETTINGS.plan, SETTINGS.motor, SETTINGS.winder, seed)
        self.watch = LessonWatch(lesson, SETTINGS, self.bench)
        self.hand = self.watch.hand(self.bench.command)
        self._lesson, self._seed = lesson, seed
        self._coach.step(LinkUp(0.0, "simulated meter"))

    @property
    def view(self) -> CoachView:
        return self._coach.view

    @property
    def finished(self) -> bool:
        return self._coach.finished

    def press(self, key_name: str) -> None:
        self._coach.step(KeyPressed(self.at_s, key_name))

    def start(self) -> None:
        """Time is not this one's to start."""

    def stop(self) -> None:
        """Nor to stop."""

    def note(self) -> Remark:
        if self.watch.ended:
            return told_at_the_end(result_of(self._lesson, "you", self._seed, self.watch, None))
        return told_before(self._lesson, begun=self.watch.begun)

    def goes_on(self, seconds: float) -> None:
        for _ in range(round(seconds / TICK_S)):
            if self.finished:
                return
            if self.bench.done:
                self._coach.step(Ended(self.at_s))
                return
            self.at_s = round(self.at_s + TICK_S, 6)
            data = self.bench.advance(TICK_S)
            self._coach.step(BytesArrived(self.at_s, data) if data else TimePassed(self.at_s))
            self.watch.see(self._coach.view)


async def _play(practice: Practice, manner: Manner, seed: int) -> tuple[list[str], str]:
    """Return the keys that were pressed and the screen at the end."""
    while practice.bench.handed_over_s is None:
        practice.goes_on(LOOKS_S)
    app = CoachApp(practice, practice.hand, note=practice.note, aside=lambda: practice.bench.truth)
    learner = Learner(manner, np.random.default_rng(seed))
    keys: list[str] = []
    async with app.run_test(size=SIZE) as pilot:
        await _until_over(practice, learner, pilot, keys)
        app.look()
        await pilot.pause()
        return keys, shown(app)


async def _until_over(practice: Practice, learner: Learner, pilot: Pilot[None], keys: list[str]) -> None:
    while not practice.finished:
        assert practice.at_s < LONGEST_S, "the lesson did not end"
        for command in learner.keys(seen_by(practice.view, practice.bench.truth)):
            if command == "finish":
                continue
            key = COACH_KEY_OF[command] if command in KEYS else KEY_OF[command]
            keys.append(key)
            await pilot.press(key)
        practice.goes_on(LOOKS_S)


def played(lesson: Lesson, manner: Manner, seed: int = 1) -> tuple[Practice, list[str], str]:
    practice = Practice(lesson, seed)
    keys, text = asyncio.run(_play(practice, manner, seed))
    return practice, keys, text


@pytest.mark.no_cover  # Whole winds: other tests run the same lines.
@pytest.mark.xdist_group("lessons")
@pytest.mark.parametrize("lesson", LESSONS, ids=lambda lesson: lesson.name)
class TestByKeys:
    def test_who_does_as_told_passes_and_sees_the_score(self, lesson: Lesson) -> None:
        practice, keys, text = played(lesson, MANNERS["steady"])
        assert practice.watch.ended
        score = round(practice.watch.review.score or 0.0)
        assert score >= PASS_SCORE
        assert f"Lesson {LESSONS.index(lesson) + 1}: {score} of 100, passed." in text
        assert len(keys) >= 2
        assert practice.note().word == "PASSED"
        assert "q closes" in text

    def test_who_ignores_its_point_does_not_pass_and_reads_what_would_have_been_better(self, lesson: Lesson) -> None:
        practice, _, text = played(lesson, IGNORES[lesson.name])
        assert practice.watch.ended
        score = practice.watch.review.score or 0.0
        assert score < PASS_SCORE
        assert f"Lesson {LESSONS.index(lesson) + 1}: {round(score)} of 100." in text
        assert practice.note().word == "AGAIN"
        assert " ".join(practice.watch.review.better.split()[:6]) in " ".join(text.split())


@pytest.mark.parametrize("lesson", LESSONS, ids=lambda lesson: lesson.name)
def test_all_that_a_lesson_says_is_on_a_small_screen_before_it_begins(lesson: Lesson) -> None:
    """Lines were cut before "Begin with any key". Where the motor is not hooked up yet the cautions come first."""
    practice = Practice(lesson, 1)
    while practice.bench.handed_over_s is None:
        practice.goes_on(LOOKS_S)
    practice.goes_on(0.5)

    async def looks() -> tuple[str, str]:
        app = CoachApp(practice, practice.hand, note=practice.note, aside=lambda: practice.bench.truth)
        async with app.run_test(size=SIZE) as pilot:
            await pilot.press("escape")
            app.look()
            await pilot.pause()
            before = shown(app)
            await pilot.press("x")
            app.look()
            await pilot.pause()
            return before, shown(app)

    before, begun = asyncio.run(looks())
    flat = " ".join(before.replace("│", " ").split())
    for sentence in (lesson.aim, lesson.how, lesson.by_itself, "Begin with any key of the hands."):
        assert sentence in flat
    if not practice.view.alarms:  # An alarm has the row first.
        assert f"Lesson {LESSONS.index(lesson) + 1}: {lesson.title}." in before
        assert f"Lesson {LESSONS.index(lesson) + 1}: {lesson.aim}" in begun
    assert lesson.how not in " ".join(begun.split())
