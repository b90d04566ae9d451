"""What every source keeps to, whatever it reads from: times that never go back, keys from any thread, an end."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import numpy as np
import pytest

from tests.scenario import MOTOR, PLAN, WINDER
from tests.sources.helpers import FakeClock, at_once, line, pty, until
from tests.support.source import Source
from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkUp, TimePassed
from winding_coach.live.sources.practice import PracticeSource
from winding_coach.live.sources.replay import ReplaySource
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.hands import STYLES, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor


@pytest.fixture(params=["serial port", "practice", "practice without waiting", "replay"])
def source(request: pytest.FixtureRequest) -> Iterator[Source]:
    """One of each kind, with something to read."""
    clock = FakeClock()
    if request.param == "serial port":
        with pty() as port:
            opened = SerialSource(port.device, start=at_once)
            until(opened, LinkUp)
            port.send(line(0))
            yield opened
            opened.close()
        return
    if request.param == "replay":
        inputs: list[Input] = [LinkUp(0.0, "meter"), *(BytesArrived(float(i), line(i)) for i in range(1, 2000))]
        yield ReplaySource(inputs, 4.0, clock=clock, sleep=clock.sleep)
        return
    rng = np.random.default_rng(2)
    hands = ScriptedHands(PLAN, MOTOR, WINDER, STYLES["good"], rng)
    bench = Bench(SimulatedMotor(MOTOR), hands, WINDER.ratio, MeterModel(), rng)
    yield PracticeSource(bench, 1.0 if request.param == "practice" else None, clock=clock, sleep=clock.sleep)


def test_times_are_whole_microseconds_and_never_go_back(source: Source) -> None:
    events = [source.read(0.02) for _ in range(20)]
    assert any(isinstance(event, BytesArrived) for event in events)
    times = [event.at_s for event in events]
    assert times == sorted(times)
    assert times[0] >= 0.0
    assert all(time == round(time, 6) for time in times)


def test_nothing_raises_for_no_time_to_wait(source: Source) -> None:
    assert all(isinstance(source.read(0.0), BytesArrived | LinkUp | TimePassed) for _ in range(20))


def test_quit_from_another_thread_ends_it_for_good(source: Source) -> None:
    before = source.read(0.02)
    pressing = threading.Thread(target=source.press, args=("quit",))
    pressing.start()
    pressing.join()
    ended, events = until(source, Ended)
    assert ended.at_s >= before.at_s
    # A replay's own keys are recorded; a key of whoever looks at it must not be mixed with them.
    keys = [event.name for event in events if isinstance(event, KeyPressed)]
    assert keys == ([] if isinstance(source, ReplaySource) else ["quit"])
    assert isinstance(source.read(0.02), Ended)


def test_it_knows_when_it_began_with_the_offset_and_closes_twice(source: Source) -> None:
    assert source.started.utcoffset() is not None
    source.close()
    source.close()
