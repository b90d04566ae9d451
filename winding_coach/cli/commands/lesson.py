"""One practice lesson: a bench that is wound up to its beginning, the coach, a person or a robot; score and progress.

The score is the review's, the same that real winds get. `practice` is the command that leads here.
"""

from __future__ import annotations

import argparse
import json
import shlex
import sys
import textwrap
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

from winding_coach.app.beginning import PRACTISED, header_for, writer_for
from winding_coach.app.home import Home
from winding_coach.app.problem import Problem, UsageProblem
from winding_coach.app.progress import Progress, Record, load_progress, nickname
from winding_coach.app.typed import MOST_SEED, whole
from winding_coach.base.inputs import KEYS
from winding_coach.cli.commands.coaching import coach_it, needs_terminal
from winding_coach.coach.said import Phase
from winding_coach.coach.settings import CoachSettings
from winding_coach.coach.view import CoachView
from winding_coach.review.wind.figures import WindWatch
from winding_coach.review.wind.happened import WindReview, review_of
from winding_coach.rubber.law import Rubber
from winding_coach.screen.remark import Remark
from winding_coach.simulator.bench import Truth
from winding_coach.simulator.learners import MANNERS, Learner, Seen
from winding_coach.simulator.lessons import LESSONS, PASS_SCORE, Lesson, LessonBench

ROBOTS_LONGEST_S = 400.0
"""A robot that has not come to the end of a lesson by then never will."""
SAME = {"good": "steady", "stall": "staller"}
"""Names of scripted hands and of the learners that do likewise."""
NOTICE_WIDE, NOTICE_ROWS = 72, 7
"""Room for a notice on a screen of 80 columns and 24 rows."""
_ORDER = list(Phase)


def lesson_from(typed: str) -> Lesson:
    """Return the lesson of a name, or of a number from 1.

    Raises:
        UsageProblem: there is none.
    """
    for number, lesson in enumerate(LESSONS, 1):
        if typed in (lesson.name, str(number)):
            return lesson
    known = ", ".join(f"{number} {lesson.name}" for number, lesson in enumerate(LESSONS, 1))
    raise UsageProblem(f"--lesson: there is no lesson '{typed[:40]}': choose one of {known}.")


def learner_from(script: str | None, seed: int) -> Learner | None:
    """Return the robot of a name, None for a person.

    Raises:
        UsageProblem: there is none.
    """
    if script is None:
        return None
    import numpy as np

    manner = MANNERS.get(SAME.get(script, script))
    if manner is None:
        raise UsageProblem(f"--script: no robot takes lessons in '{script[:40]}': choose one of {', '.join(MANNERS)}.")
    return Learner(manner, np.random.default_rng(seed))


def progress_of(home: Home) -> Progress | None:
    """Return the progress so far; None, and a line on stderr, where its file is spoilt."""
    try:
        return load_progress(home.folder)
    except Problem as problem:
        print(f"winding-coach practice: {problem}", file=sys.stderr)
        return None


class LessonWatch:
    """Looks at every view of a lesson: reviews the learner's part, ends it, and lets a robot press its keys."""

    def __init__(
        self,
        lesson: Lesson,
        settings: CoachSettings,
        bench: LessonBench,
        learner: Learner | None = None,
        press: Callable[[str], None] = lambda _: None,
    ) -> None:
        """press: takes the coach's own keys, which a robot may press too."""
        self.ended = self.begun = False
        self.at_s = 0.0
        self._lesson = lesson
        self._settings = settings
        self._bench = bench
        self._learner = learner
        self._press = press
        self._watch = WindWatch(settings)
        self._kept: WindReview | None = None

    def hand(self, take: Callable[[str], None]) -> Callable[[str], None]:
        """Return `take`, which also notes that the person has begun."""

        def taking(command: str) -> None:
            self.begun = True
            take(command)

        return taking

    def see(self, view: CoachView) -> None:
        """Look at one view; called in the loop's thread, where the bench is moved."""
        bench = self._bench
        self.at_s = view.at_s
        begun = bench.handed_over_s is not None
        self._watch.see(view, counted=begun)
        if not begun or self.ended:
            return
        if self._over(view):
            self._kept = self.review
            self.ended = True
            bench.command("finish")
        elif self._learner is not None:
            for key in self._learner.keys(seen_by(view, bench.truth)):
                self._press(key) if key in KEYS else bench.command(key)

    def _over(self, view: CoachView) -> bool:
        if view.phase is Phase.STOPPED:
            return False
        if view.phase is Phase.BROKEN:
            return view.summary is not None
        late = self._learner is not None and view.at_s > (self._bench.handed_over_s or 0.0) + ROBOTS_LONGEST_S
        return late or self._bench.done or _ORDER.index(view.phase) >= _ORDER.index(Phase(self._lesson.until))

    @property
    def review(self) -> WindReview:
        """How well the learner's part went; once the lesson has ended it is what it was then."""
        if self._kept is not None:
            return self._kept
        plan, units = self._settings.plan, self._settings.units
        return review_of(self._watch.figures, plan, self._settings.winder.ratio, units, wanted=self._lesson.aims)


def seen_by(view: CoachView, truth: Truth) -> Seen:
    """Return what a learner sees of the coach, and of their own hands."""
    torque, wanted = view.reading.torque_Nm, view.targets.torque_Nm
    turns, until = view.reading.turns, view.targets.turns
    return Seen(
        at_s=view.at_s,
        phase=str(view.phase),
        prompt=None if view.prompt is None else view.prompt.code,
        alarms=frozenset(alarm.code for alarm in view.alarms),
        stand_at_m=view.targets.stand_at_m,
        torque_share=None if torque is None or not wanted else torque / wanted,
        turns_share=None if turns is None or not until else turns / until,
        hooked=truth.hooked,
        distance_m=truth.distance_m,
        crank_rev_per_s=truth.crank_rev_per_s,
        over_turns=None if view.prompt is None else view.prompt.crank_turns,
    )


def take_lesson(
    args: argparse.Namespace, home: Home, settings: CoachSettings, rubber: Rubber, speed: float | None
) -> int:
    """Let a person, or the robot of `--script`, take the lesson of `--lesson`; return the exit status."""
    from winding_coach.live.sources.practice import PORT, PracticeSource

    lesson, person = lesson_from(args.lesson), nickname(args.person)
    progress = progress_of(home)
    before = None if progress is None else progress.noted(person, lesson.name)
    seed = _seed(args.seed, before)
    learner = learner_from(args.script, seed)
    needs_terminal(args)
    bench = LessonBench(lesson, settings.plan, settings.motor, settings.winder, seed, rubber)
    source = PracticeSource(
        bench,
        speed,
        hands=bench.command,
        hurries=lambda: bench.handed_over_s is None,
        waits=learner is None,
    )
    watch = LessonWatch(lesson, settings, bench, learner, source.press)
    if not args.json:
        print(
            f"Lesson {LESSONS.index(lesson) + 1}, {lesson.title.lower()}. {lesson.aim} {lesson.how} {lesson.by_itself}",
            flush=True,
        )
    writer = writer_for(home, header_for(settings, source.started, PORT, args.person, PRACTISED))

    @cache
    def result() -> dict[str, Any]:
        return result_of(lesson, person, seed, watch, progress)

    def note() -> Remark:
        if watch.ended:
            return told_at_the_end(result())
        return told_before(lesson, begun=learner is not None or watch.begun)

    hand = None if learner is not None else watch.hand(source.hand)
    coach_it(args, home, settings, source, writer, hand=hand, seen=watch.see, aside=lambda: bench.truth, note=note)
    came = result()
    print(json.dumps(came, ensure_ascii=False) if args.json else _result_words(came), flush=True)
    return 0


def told_before(lesson: Lesson, *, begun: bool) -> Remark:
    """Return what the screen says of a lesson until it has ended; once the learner has begun, one line."""
    number = LESSONS.index(lesson) + 1
    if begun:
        return Remark(f"Lesson {number}: {lesson.aim}")
    return Remark(
        f"Lesson {number}: {lesson.title}.",
        # An alarm takes the line above.
        _in_lines(lesson.aim, lesson.how, f"{lesson.by_itself} Begin with any key of the hands."),
    )


def told_at_the_end(result: dict[str, Any]) -> Remark:
    """Return what the screen says once a lesson has ended: score, what would have been better, what is next."""
    lines = _result_words(result).split("\n")
    word = "PASSED" if result["passed"] else "AGAIN"
    return Remark(lines[0], _in_lines(*lines[1:])[:NOTICE_ROWS], word)


def _in_lines(*sentences: str) -> tuple[str, ...]:
    return tuple(line for sentence in sentences for line in textwrap.wrap(sentence, NOTICE_WIDE))


def _seed(typed: str | None, before: Record | None) -> int:
    """The seed that was typed; else a new one for each try, so that no lesson is learned by heart."""
    if typed is None:
        return 1 if before is None else before.tries + 1
    return whole("--seed", typed, 0, MOST_SEED)


def result_of(lesson: Lesson, person: str, seed: int, watch: LessonWatch, progress: Progress | None) -> dict[str, Any]:
    """Return what came of the lesson as an object, and keep it with the person's progress if it was ended."""
    review = watch.review
    score = round(review.score or 0.0) if watch.ended else None
    record = None
    if score is not None and progress is not None:
        record = progress.note(person, lesson.name, score, seed)
        progress.save()
    return {
        "event": "lesson",
        "at_s": watch.at_s,
        "lesson": lesson.name,
        "number": LESSONS.index(lesson) + 1,
        "seed": seed,
        "person": person,
        "ended": watch.ended,
        "passed": score is not None and score >= PASS_SCORE,
        "best": None if record is None else record.best,
        "tries": None if record is None else record.tries,
        "next": _next(lesson, score, person, progress),
        **review.as_json(),
        "score": score,
    }


def _next(lesson: Lesson, score: int | None, person: str, progress: Progress | None) -> str | None:
    """Return the lesson to take next: this one until it is passed, then the next that is not; None after the last."""
    if score is None or score < PASS_SCORE:
        return lesson.name
    after = LESSONS[LESSONS.index(lesson) + 1 :]
    for other in after:
        record = None if progress is None else progress.noted(person, other.name)
        if record is None or record.best < PASS_SCORE:
            return other.name
    return None


def _result_words(result: dict[str, Any]) -> str:
    if not result["ended"]:
        again = f"practice --lesson {result['lesson']} --seed {result['seed']}"
        return f"The lesson was left before its end: not scored. Take it again: {again}."
    best = "" if result["best"] is None else f" Best so far: {result['best']}, of {_tries(result['tries'])}."
    lines = [f"Lesson {result['number']}: {result['score']} of 100{', passed' if result['passed'] else ''}.{best}"]
    lines.append(result["better"])
    if result["next"] not in (None, result["lesson"]):
        lines.append(f"Next: practice --lesson {result['next']}.")
    elif result["next"] is None:
        lines.append("That was the last lesson that you had not passed.")
    lines.append(f"The same motor again: practice --lesson {result['lesson']} --seed {result['seed']}.")
    if len(result["aims"]) > 1:
        by_aim = [f"{aim['aim']} {aim['score']}" for aim in result["aims"]]
        lines.append(f"By aim: {', '.join(by_aim)}.")
    others = [aim["better"] for aim in result["aims"] if aim["better"] and aim["better"] != result["better"]]
    return "\n".join([*lines, *others])


def _tries(tries: int) -> str:
    return "1 try" if tries == 1 else f"{tries} tries"


def list_lessons(args: argparse.Namespace, home: Home) -> int:
    """Print the lessons, their aims, and what the person has reached so far."""
    person = nickname(args.person)
    progress = progress_of(home)
    records = [None if progress is None else progress.noted(person, lesson.name) for lesson in LESSONS]
    if args.json:
        rows = [
            {
                "number": number,
                "lesson": lesson.name,
                "title": lesson.title,
                "aim": lesson.aim,
                "tries": 0 if record is None else record.tries,
                "best": None if record is None else record.best,
                "last": None if record is None else record.last,
                "best_seed": None if record is None else record.best_seed,
                "passed": record is not None and record.best >= PASS_SCORE,
            }
            for number, (lesson, record) in enumerate(zip(LESSONS, records, strict=True), 1)
        ]
        print(json.dumps({"person": person, "lessons": rows}, ensure_ascii=False))
        return 0
    print(f"Lessons, and how far {person} {'have' if person == 'you' else 'has'} come:\n")
    for number, (lesson, record) in enumerate(zip(LESSONS, records, strict=True), 1):
        reached = "not taken yet"
        if record is not None:
            passed = "passed, " if record.best >= PASS_SCORE else ""
            reached = f"{passed}best {record.best} of 100, {_tries(record.tries)}"
        print(f"{number}  {lesson.name:<12} {lesson.title} ({reached})\n   {lesson.aim}")
    named = "" if person == "you" else f" --person {shlex.quote(person)}"
    print(f"\nStart one by its number: winding-coach practice --lesson {_first_open(records)}{named}")
    return 0


def _first_open(records: Sequence[Record | None]) -> int:
    """Return the number of the first lesson that is not passed, of the last where all are."""
    return next((number for number, one in enumerate(records, 1) if one is None or one.best < PASS_SCORE), len(records))
