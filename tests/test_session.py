"""The one loop: what is recorded, what is published, and that live and replay are equal."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.scenario import MODEL, MOTOR, PLAN, SETTINGS, SMALL, WINDER, wind
from winding_coach.base.inputs import Ended, Input, KeyPressed, TimePassed
from winding_coach.coach.said import ReadingSaid, Said, Summary
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.keeping.replaying import difference, said_again, settings_of
from winding_coach.live.session import Session, as_kept
from winding_coach.live.sources.replay import ReplaySource
from winding_coach.meter.calibration import SIMULATED
from winding_coach.traces.files import Trace, TraceWriter, read_trace
from winding_coach.traces.header import Header

HEADER = Header(
    id="x",
    started=datetime(2026, 3, 1, tzinfo=UTC),
    calibration=SIMULATED,
    motor=MOTOR,
    winder=WINDER,
    model=MODEL,
    plan=PLAN,
)


def beginning() -> tuple[Input, ...]:
    """Thirty seconds: hooked up, stretched out, cranking. Not made while tests are collected."""
    return wind("good")[:2400]


class Played:
    """A source that gives inputs as they stand, then time without end."""

    def __init__(self, inputs: Iterator[Input]) -> None:
        self._inputs = inputs
        self._at_s = 0.0
        self.closed = False
        self.pressed: list[str] = []
        self.idle = threading.Event()

    def read(self, timeout_s: float) -> Input:
        event = next(self._inputs, None)
        if event is None:
            self.idle.set()
            self._at_s = round(self._at_s + timeout_s, 6)
            return TimePassed(self._at_s)
        self._at_s = event.at_s
        return event

    def press(self, name: str) -> None:
        self.pressed.append(name)

    def close(self) -> None:
        self.closed = True


def views_of(inputs: tuple[Input, ...]) -> list[CoachView]:
    coach = Coach(SETTINGS)
    views = []
    for event in inputs:
        coach.step(event)
        views.append(coach.view)
    return views


def recorded(folder: Path, inputs: tuple[Input, ...]) -> Trace:
    writer = TraceWriter(folder, HEADER)
    source = Played(iter((*inputs, Ended(inputs[-1].at_s))))
    Session(source, Coach(SETTINGS), writer).run()
    assert source.closed
    return read_trace(writer.path)


@pytest.mark.no_cover
@pytest.mark.parametrize("style", ["good", "stall", "overwind"])
def test_the_replay_of_a_trace_gives_equal_views(tmp_path: Path, style: str) -> None:
    inputs = wind(style)
    lived: list[CoachView] = []
    writer = TraceWriter(tmp_path, HEADER)
    Session(Played(iter((*inputs, Ended(inputs[-1].at_s)))), Coach(SETTINGS), writer, seen=lived.append).run()
    trace = read_trace(writer.path)
    settings = settings_of(trace)
    assert settings == SETTINGS
    coach, said = Coach(settings), []
    for view, event in zip(lived, trace.inputs, strict=False):
        coach.step(event)
        said += [as_kept(one) for one in coach.said]
        assert coach.view == view
    assert len(lived) - len(trace.inputs) in (0, 1)  # The end is no input of a trace.
    if not coach.finished:
        coach.step(Ended(inputs[-1].at_s))
        said += [as_kept(one) for one in coach.said]
    assert coach.view == lived[-1]
    assert said == [row | ({"trace": None} if row["event"] == "summary" else {}) for _, row in trace.said]


def test_a_session_hears_what_a_trace_keeps(tmp_path: Path) -> None:
    heard: list[Said] = []
    writer = TraceWriter(tmp_path, HEADER)
    inputs = (*beginning(), Ended(beginning()[-1].at_s))
    Session(Played(iter(inputs)), Coach(SETTINGS), writer, heard=heard.append, readings_hz=2.0).run()
    trace = read_trace(writer.path)
    told = [one.as_json() for one in heard if not isinstance(one, ReadingSaid)]
    assert told == [said for _, said in trace.said]
    assert trace.summary is not None
    assert trace.summary["trace"] == writer.path.name
    readings = [one for one in heard if isinstance(one, ReadingSaid)]
    assert len(readings) == pytest.approx(2.0 * inputs[-1].at_s, rel=0.05)


def test_who_looks_on_sees_the_view_after_every_input() -> None:
    inputs = (*wind("good")[:500], Ended(10.0))
    seen: list[CoachView] = []
    Session(Played(iter(inputs)), Coach(SETTINGS), None, seen=seen.append).run()
    assert seen == views_of(inputs)
    assert seen[-1].summary is not None


def test_time_that_stands_still_is_a_sign_of_life_too() -> None:
    """A lesson waits for its learner: the view is a new one each time, or the screen would call it stale."""
    inputs = wind("good")[:800]
    views: list[CoachView] = []
    source = Played(iter([*inputs, *[TimePassed(inputs[-1].at_s)] * 3, Ended(inputs[-1].at_s)]))
    session = Session(source, Coach(SETTINGS), None, seen=lambda _: views.append(session.view))
    session.run()
    still = views[len(inputs) : len(inputs) + 3]
    assert len({id(view) for view in still}) == 3
    assert still[0] == still[1] == still[2]


def test_a_difference_is_found_and_named(tmp_path: Path) -> None:
    trace = recorded(tmp_path, beginning())
    settings = settings_of(trace)
    changed = list(trace.said)
    number, said = changed[5]
    changed[5] = (number, said | {"at_s": said["at_s"] + 1e-6})
    found = difference(replace(trace, said=tuple(changed)), settings)
    assert found is not None
    assert f"after input {number}" in found
    assert difference(replace(trace, said=trace.said[:-1]), settings) is not None
    assert difference(replace(trace, said=(*trace.said, trace.said[0])), settings) is not None
    heavier = replace(settings, calibration=replace(SIMULATED, Nm_per_count=1.02 * SIMULATED.Nm_per_count))
    assert difference(trace, heavier) is not None


def test_a_killed_wind_replays_as_far_as_it_went(tmp_path: Path) -> None:
    whole = recorded(tmp_path, beginning())
    rows = whole.path.read_bytes().splitlines(keepends=True)
    for kept in (100, len(rows) // 2, len(rows) - 3):
        whole.path.write_bytes(b"".join(rows[:kept]) + rows[kept][:7])
        cut = read_trace(whole.path)
        assert cut.cut
        assert cut.summary is None
        assert difference(cut, settings_of(cut)) is None
        assert len(said_again(cut, settings_of(cut))) >= len(cut.said)


def test_stopping_closes_and_saves_the_wind(tmp_path: Path) -> None:
    writer = TraceWriter(tmp_path, HEADER)
    source = Played(iter([event for event in wind("good") if event.at_s < 70.0]))
    session = Session(source, Coach(SETTINGS), writer)
    session.start()
    assert source.idle.wait(120)
    session.stop()
    assert session.finished
    assert source.closed
    assert session.summary is not None
    assert session.summary.outcome == "stopped"
    assert session.view.summary == session.summary
    trace = read_trace(writer.path)
    assert trace.inputs[-1] == KeyPressed(session.summary.at_s, "quit")
    assert difference(trace, settings_of(trace)) is None
    times, turns, torques = zip(*session.curve.points(), strict=True)
    assert len(times) > 500
    assert max(torques) == pytest.approx(PLAN.stretched_torque_Nm, rel=0.2)
    assert turns[-1] is not None


def test_a_loop_that_dies_says_so_and_lets_go(tmp_path: Path) -> None:
    class Broken(Played):
        def read(self, timeout_s: float) -> Input:
            raise RuntimeError("planted")

    source = Broken(iter(()))
    session = Session(source, Coach(SETTINGS), TraceWriter(tmp_path, HEADER))
    session.start()
    session.stop()
    assert isinstance(session.failure, RuntimeError)
    assert "RuntimeError" in str(session.trouble)
    assert session.finished
    assert source.closed


def test_replay_at_any_speed_is_the_same_wind() -> None:
    """A clock that each sleep moves on: paced replay needs no real time, and adds no input."""
    now = [0.0]

    def sleep(seconds: float) -> None:
        now[0] += seconds

    inputs = beginning()
    heard: list[list[Said]] = []
    for speed in (None, 1.0, 7.0):
        said: list[Said] = []
        source = ReplaySource(inputs, speed, clock=lambda: now[0], sleep=sleep)
        begun = now[0]
        Session(source, Coach(SETTINGS), None, heard=said.append, replaying=True).run()
        heard.append(said)
        if speed is not None:
            assert now[0] - begun == pytest.approx(inputs[-1].at_s / speed, rel=0.01)
    assert heard[0] == heard[1] == heard[2]
    assert isinstance(heard[0][-1], Summary)


def test_a_trace_without_a_plan_gets_one_and_one_without_a_motor_is_refused(tmp_path: Path) -> None:
    trace = recorded(tmp_path, wind("good")[:100])
    assert settings_of(replace(trace, header=replace(trace.header, plan=None))).plan == PLAN
    for change in ({"motor": None}, {"calibration": None}):
        with pytest.raises(ValueError, match="knows no"):
            settings_of(replace(trace, header=replace(trace.header, **change)))  # type: ignore[arg-type]
    spoilt = replace(PLAN, stretched_turns=-1.0)
    with pytest.raises(ValueError, match="cannot be coached again"):
        settings_of(replace(trace, header=replace(trace.header, plan=spoilt)))


def test_a_wind_that_nobody_looks_at_says_the_same_and_ends_with_the_same_view() -> None:
    inputs = (*wind("good", 3, settings=SMALL), Ended(61.0))
    said: list[list[Said]] = []
    ends = []
    for looked_at in (True, False):
        heard: list[Said] = []
        session = Session(Played(iter(inputs)), Coach(SMALL), None, heard=heard.append, looked_at=looked_at)
        begun = session.view
        session.run()
        said.append(heard)
        ends.append((session.view, session.at_s))
        assert (session.view is begun) is False
        assert bool(session.curve.points()) is looked_at
    assert said[0] == said[1]
    assert ends[0] == ends[1]
