"""Lessons as their user takes them: robots through the whole corridor, what is said at the end, and what is kept."""

from __future__ import annotations

import json
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_main import run
from tests.scenario import SETTINGS, coached
from winding_coach.app.problem import UsageProblem
from winding_coach.app.progress import PROGRESS_FILE
from winding_coach.cli import main
from winding_coach.cli.commands.lesson import LessonWatch, learner_from, lesson_from, seen_by
from winding_coach.coach.said import Phase
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.keeping.replaying import settings_of
from winding_coach.live.session import Session
from winding_coach.live.sources.practice import PracticeSource
from winding_coach.simulator.learners import MANNERS
from winding_coach.simulator.lessons import LESSONS, PASS_SCORE, LessonBench
from winding_coach.traces.files import read_trace

FAST = ("--speed", "max", "--headless")


def taken(*words: str) -> dict[str, Any]:
    """Take a lesson in a process of its own; return what came of it."""
    done = run("practice", "--json", *FAST, *words)
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    assert found["event"] == "lesson"
    summary = json.loads(done.stdout.splitlines()[-2])
    assert (summary["event"], summary["at_s"]) == ("summary", found["at_s"])
    return found


def watched(name: str, script: str | None, seed: int = 1, keys: tuple[tuple[float, str], ...] = ()) -> Any:
    """Take a lesson in this process; return the watch and all views of the learner's part. keys: (at_s, key)."""
    lesson = lesson_from(name)
    bench = LessonBench(lesson, SETTINGS.plan, SETTINGS.motor, SETTINGS.winder, seed)
    source = PracticeSource(bench, None, hands=bench.command)
    watch = LessonWatch(lesson, SETTINGS, bench, learner_from(script, seed), source.press)
    views: list[CoachView] = []
    waiting = list(keys)

    def see(view: CoachView) -> None:
        watch.see(view)
        if bench.handed_over_s is not None:
            views.append(view)
            while waiting and view.at_s >= bench.handed_over_s + waiting[0][0]:
                source.press(waiting.pop(0)[1])

    Session(source, Coach(SETTINGS), None, seen=see).run()
    return watch, views


def test_a_lesson_is_the_same_again_by_its_seed(home: Path) -> None:
    first = taken("--lesson", "1", "--script", "steady", "--seed", "5", "--person", "Wren")
    second = taken("--lesson", "even", "--script", "good", "--seed", "5", "--person", "Pip")
    assert first["ended"]
    assert first["seed"] == 5
    assert first | {"person": "Pip"} == second
    other = taken("--lesson", "even", "--script", "steady", "--seed", "6", "--person", "Juno")
    assert other["aims"] != first["aims"]
    traces = [read_trace(file) for file in sorted((home / "traces").glob("*.wind.jsonl"))]
    inputs = {trace.header.person: trace.inputs for trace in traces}
    assert inputs["Wren"] == inputs["Pip"] != inputs["Juno"]


def test_progress_is_kept_by_person_and_listed(home: Path) -> None:
    first = taken("--lesson", "even", "--script", "hasty", "--person", "Wren")
    assert (first["seed"], first["tries"], first["best"], first["passed"]) == (1, 1, first["score"], False)
    assert first["next"] == "even"
    second = taken("--lesson", "even", "--script", "steady", "--person", "Wren")
    assert (second["seed"], second["tries"], second["best"], second["passed"]) == (2, 2, second["score"], True)
    assert second["next"] == LESSONS[1].name
    assert second["score"] > first["score"]
    file = home / PROGRESS_FILE
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    kept = json.loads(file.read_text())["people"]
    assert kept == {"Wren": {"even": {"tries": 2, "best": second["score"], "last": second["score"], "best_seed": 2}}}


def test_the_list_tells_aims_and_the_persons_best(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home.mkdir()
    record = {"tries": 3, "best": 88, "last": 60, "best_seed": 2}
    people = {"Wren": {"even": record, "peak": record | {"best": 40, "tries": 1}}}
    content = {"format": "winding-coach practice", "version": 1, "people": people}
    (home / PROGRESS_FILE).write_text(json.dumps(content))
    assert main(["practice", "--lessons", "--person", "Wren"]) == 0
    text = capsys.readouterr().out
    for lesson in LESSONS:
        assert lesson.aim in text
        assert lesson.title in text
    assert "passed, best 88 of 100, 3 tries" in text
    assert "(best 40 of 100, 1 try)" in text
    assert text.endswith("--lesson 2 --person Wren\n"), "the first that is not passed"
    assert main(["practice", "--lessons", "--person", "Wren", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert listed["person"] == "Wren"
    rows = {row["lesson"]: row for row in listed["lessons"]}
    assert [row["number"] for row in listed["lessons"]] == list(range(1, len(LESSONS) + 1))
    assert (rows["even"]["best"], rows["even"]["passed"]) == (88, True)
    assert (rows["peak"]["best"], rows["peak"]["passed"]) == (40, False)
    assert (rows["whole"]["best"], rows["whole"]["tries"]) == (None, 0)
    assert main(["practice", "--lessons"]) == 0
    text = capsys.readouterr().out
    assert "how far you have come" in text
    assert text.endswith("winding-coach practice --lesson 1\n"), "it was not said how to start one"


def test_the_words_at_the_end_say_score_advice_and_what_is_next(home: Path) -> None:
    done = run("practice", *FAST, "--lesson", "back-off", "--script", "steady")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0].startswith("Lesson 6, back off to launch torque. ")
    assert any(line.startswith("Lesson 6: ") and "passed. Best so far" in line for line in lines)
    assert any(line.startswith("By aim: launch ") for line in lines)
    assert "The same motor again: practice --lesson back-off --seed 1." in lines
    assert "Next: practice --lesson other-motor." in lines
    assert all(line.endswith(".") for line in lines)


def test_a_spoilt_progress_file_is_said_and_left_alone_and_the_lesson_goes_on(home: Path) -> None:
    home.mkdir()
    file = home / PROGRESS_FILE
    file.write_text("spoilt")
    done = run("practice", "--json", *FAST, "--lesson", "back-off", "--script", "steady")
    assert done.returncode == 0
    assert "fix it or move it away" in done.stderr
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["score"] > PASS_SCORE
    assert (found["best"], found["tries"]) == (None, None)
    assert file.read_text() == "spoilt"


def test_a_lesson_that_is_left_is_not_scored(home: Path) -> None:
    """A person who only presses quit: time stands still until a first hand's key, and quit is heard all the same."""
    done = subprocess.run(
        [sys.executable, "-m", "winding_coach", "practice", *FAST, "--lesson", "walk-in"],
        input="quit\n",
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    assert "left before its end" in done.stdout
    assert not (home / PROGRESS_FILE).exists()


def test_lessons_that_cannot_be_are_refused_in_one_line(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words, said in (
        (("--lesson", "10"), "choose one of 1 even"),
        (("--lesson", "flying"), "no lesson 'flying'"),
        (("--lesson", "1", "--script", "overwind"), "choose one of steady"),
        (("--lesson", "1", "--seed", "one"), "--seed"),
        (("--lesson", "1", "--person", " "), "nickname"),
        (("--lesson", "1", "--json"), "goes with --headless"),
    ):
        assert main(["practice", *words]) == 2
        error = capsys.readouterr().err
        assert said in error
        assert error.count("\n") == 1


def test_without_a_crank_sensor_no_turns_are_counted() -> None:
    watch, views = watched("no-sensor", "steady")
    assert watch.ended
    assert {view.reading.turns_source for view in views} <= {"unknown", "estimated"}
    assert watch.review.score > PASS_SCORE


def test_only_the_learners_part_is_scored() -> None:
    """The scripted hands crank the full stretch before the walk-in lesson: none of that is the learner's."""
    watch, views = watched("walk-in", "steady")
    assert watch.ended
    assert watch.review.figures.crank_variation is None
    assert watch.review.figures.torque_scale == pytest.approx(1.0, abs=0.05)
    assert views[0].phase in (Phase.WIND_STRETCHED, Phase.WALK_IN)


def test_a_robot_that_never_comes_to_the_end_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("winding_coach.cli.commands.lesson.ROBOTS_LONGEST_S", 5.0)
    watch, views = watched("walk-in", "steady")
    assert watch.ended
    assert views[-1].at_s - views[0].at_s == pytest.approx(5.0, abs=0.5)
    assert watch.review.score == 0.0


def test_stopping_by_the_key_leaves_a_lesson() -> None:
    # With a loaded motor the stop is asked for again.
    watch, views = watched("walk-in", None, keys=((1.0, "stop"), (2.0, "stop")))
    assert views[-1].phase is Phase.STOPPED
    assert not watch.ended


def test_a_broken_motor_ends_a_lesson_and_scores_little() -> None:
    class Cranker:
        def keys(self, seen: object) -> tuple[str, ...]:
            return ("crank_faster",)

    lesson = lesson_from("peak")
    bench = LessonBench(lesson, SETTINGS.plan, SETTINGS.motor, SETTINGS.winder, 1)
    watch = LessonWatch(lesson, SETTINGS, bench, Cranker())  # type: ignore[arg-type]
    source = PracticeSource(bench, None)
    session = Session(source, Coach(SETTINGS), None, seen=watch.see)
    session.run()
    assert session.summary is not None
    assert session.summary.outcome == "broken"
    assert watch.ended
    assert watch.review.score is not None
    assert watch.review.score <= 25.0
    assert "intact" in watch.review.better


def test_a_trace_of_a_lesson_replays(home: Path) -> None:
    taken("--lesson", "peak", "--script", "steady")
    (file,) = (home / "traces").glob("*.wind.jsonl")
    trace = read_trace(file)
    coach, _ = coached(trace.inputs, settings_of(trace))
    assert coach.view.phase in (Phase.READY, Phase.DONE)
    assert main(["replay", str(file), "--check"]) == 0


def test_robots_go_by_two_names() -> None:
    assert learner_from(None, 1) is None
    assert learner_from("good", 1) is not None
    assert {"steady", "hasty", "staller"} <= set(MANNERS)
    with pytest.raises(UsageProblem, match="no robot"):
        learner_from("overwind", 1)


def test_what_a_learner_sees() -> None:
    bench = LessonBench(lesson_from("whole"), SETTINGS.plan, SETTINGS.motor, SETTINGS.winder, 1)
    seen = seen_by(Coach(SETTINGS).view, bench.truth)
    assert seen.phase == "hook_up"
    assert seen.torque_share is None
    assert seen.turns_share is None
    assert seen.hooked is False
    assert seen.alarms == frozenset()
