"""A replay gives the wind's own inputs and nothing else, at their times, until it is left."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.sources.helpers import FakeClock
from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.live.sources.pace import LATEST_S
from winding_coach.live.sources.replay import POLL_S, ReplaySource

WIND: tuple[Input, ...] = (
    LinkUp(0.0, "meter"),
    BytesArrived(0.5, b"one"),
    KeyPressed(2.0, "tare"),
    TimePassed(3.0),
    BytesArrived(3.0, b"two"),
    LinkDown(7.0, "gone"),
)


def replay(speed: float | None = 1.0, inputs: tuple[Input, ...] = WIND) -> tuple[ReplaySource, FakeClock]:
    """A replay whose time passes only by sleeping."""
    clock = FakeClock()
    return ReplaySource(inputs, speed, clock=clock, sleep=clock.sleep), clock


def played(source: ReplaySource, clock: FakeClock) -> list[tuple[float, Input]]:
    """All inputs to the end, each with the time that had passed."""
    began = clock()
    found: list[tuple[float, Input]] = []
    while not found or not isinstance(found[-1][1], Ended):
        event = source.read(0.01)
        found.append((clock() - began, event))
    return found


@given(
    st.lists(st.floats(0.0, 50.0), max_size=20).map(sorted),
    st.sampled_from([None, 0.5, 1.0, 8.0]),
)
def test_the_winds_own_inputs_and_no_other(times: list[float], speed: float | None) -> None:
    wind = tuple(BytesArrived(at_s, b"x") for at_s in times)
    source, clock = replay(speed, wind)
    assert [event for _, event in played(source, clock)] == [*wind, Ended(times[-1] if times else 0.0)]


@pytest.mark.parametrize("speed", [0.5, 1.0, 4.0])
def test_each_at_its_time(speed: float) -> None:
    source, clock = replay(speed)
    for passed, event in played(source, clock)[:-1]:
        assert passed == pytest.approx(event.at_s / speed)
    assert max(clock.slept) <= POLL_S + 1e-9


def test_without_waiting_nothing_sleeps() -> None:
    source, clock = replay(None)
    assert len(played(source, clock)) == len(WIND) + 1
    assert clock.slept == []


def test_a_slow_reader_does_not_shift_the_wind() -> None:
    source, clock = replay()
    source.read(1.0)
    clock.now_s += 0.9
    assert (source.read(1.0), clock.slept) == (WIND[1], [])
    assert source.read(1.0) == WIND[2]
    assert clock() - 1000.0 == pytest.approx(2.0)


def test_after_a_computers_sleep_it_goes_on_from_there() -> None:
    """What fell into the sleep is not played in a rush."""
    source, clock = replay()
    source.read(1.0)
    clock.now_s += 600.0 + LATEST_S
    woke = clock()
    assert source.read(1.0) == WIND[1]
    assert clock() == woke
    assert source.read(1.0) == WIND[2]
    assert clock() - woke == pytest.approx(1.5)


def test_keys_are_not_heard_but_for_quit() -> None:
    source, _ = replay()
    source.press("tare")
    source.press("stop")
    assert [source.read(1.0) for _ in range(3)] == list(WIND[:3])
    source.press("quit")
    assert source.read(1.0) == Ended(2.0)
    assert source.read(1.0) == Ended(2.0)
    source.close()
    assert source.at_s == 2.0


@pytest.mark.parametrize("speed", [None, 1.0])
def test_quit_before_the_first(speed: float | None) -> None:
    source, clock = replay(speed)
    source.press("quit")
    assert source.read(1.0) == Ended(0.0)
    assert clock.slept == []


def test_quit_is_heard_while_it_waits() -> None:
    clock = FakeClock()

    def sleep(seconds: float) -> None:
        clock.sleep(seconds)
        if clock() > 1001.0:
            source.press("quit")

    source = ReplaySource(WIND, clock=clock, sleep=sleep)
    assert [source.read(9.0) for _ in range(3)] == [*WIND[:2], Ended(0.5)]
    assert clock() < 1001.0 + 2 * POLL_S


def test_an_empty_wind_ends_at_once() -> None:
    source, clock = replay(1.0, ())
    assert played(source, clock) == [(0.0, Ended(0.0))]
    assert source.at_s == 0.0


def test_when_it_was() -> None:
    when = datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert ReplaySource((), started=when).started == when
    assert ReplaySource(()).started.tzinfo is not None
