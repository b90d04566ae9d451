"""A simulated meter as a source: its bytes at their times, keys and commands to the hands, and its end."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scenario import MOTOR, WINDER
from tests.sources.helpers import FakeClock
from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkUp, TimePassed
from winding_coach.live.sources.practice import CHUNK_S, POLL_S, PORT, PracticeSource
from winding_coach.meter.calibration import SIMULATED
from winding_coach.meter.reader import MeterReader
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.hands import KeyboardHands
from winding_coach.simulator.motor import SimulatedMotor


class Script:
    """A bench that sends what it is told, chunk by chunk, then is done."""

    def __init__(self, *chunks: bytes) -> None:
        self.chunks = list(chunks)
        self.advanced: list[float] = []

    @property
    def done(self) -> bool:
        """Whether all is sent."""
        return not self.chunks

    def advance(self, dt_s: float) -> bytes:
        """The next chunk."""
        self.advanced.append(dt_s)
        return self.chunks.pop(0)


def practice(bench: Script, speed: float | None = 1.0) -> tuple[PracticeSource, FakeClock]:
    """A source whose time passes only by sleeping."""
    clock = FakeClock()
    return PracticeSource(bench, speed, clock=clock, sleep=clock.sleep), clock


def test_a_link_then_bytes_then_the_end() -> None:
    source, _ = practice(Script(b"a", b"b"))
    assert [source.read(1.0) for _ in range(5)] == [
        LinkUp(0.0, PORT),
        BytesArrived(0.0125, b"a"),
        BytesArrived(0.025, b"b"),
        Ended(0.025),
        Ended(0.025),
    ]
    source.close()


@pytest.mark.parametrize("speed", [0.1, 1.0, 20.0])
def test_bytes_come_at_their_times(speed: float) -> None:
    source, clock = practice(Script(*[b"x"] * 40), speed)
    source.read(1.0)
    for i in range(1, 41):
        event = source.read(1.0)
        assert event.at_s == pytest.approx(i * CHUNK_S)
        assert clock() - 1000.0 == pytest.approx(i * CHUNK_S / speed)
    assert max(clock.slept) <= POLL_S + 1e-9


def test_without_waiting_nothing_sleeps() -> None:
    source, clock = practice(Script(*[b"x"] * 40), None)
    assert isinstance([source.read(1.0) for _ in range(42)][-1], Ended)
    assert clock.slept == []


def test_silence_is_the_passing_of_simulated_time() -> None:
    bench = Script(*[b""] * 100, b"x")
    source, _ = practice(bench)
    source.read(0.1)
    assert source.read(0.1) == TimePassed(0.1)
    assert source.read(0.1) == TimePassed(0.2)
    assert bench.advanced == [CHUNK_S] * 16
    assert source.read(60.0) == BytesArrived(1.2625, b"x")


def test_no_time_to_wait_gives_no_time() -> None:
    source, clock = practice(Script(b"x"))
    source.read(0.0)
    assert source.read(0.0) == TimePassed(0.0)
    assert clock.slept == []


def test_keys_come_before_bytes_and_quit_ends_it() -> None:
    bench = Script(*[b"x"] * 9)
    source, _ = practice(bench)
    source.read(1.0)
    source.read(1.0)
    source.press("tare")
    source.press("quit")
    assert [source.read(1.0) for _ in range(3)] == [
        KeyPressed(0.0125, "tare"),
        KeyPressed(0.0125, "quit"),
        Ended(0.0125),
    ]
    assert len(bench.advanced) == 1


def test_a_key_is_noticed_while_slow_time_is_waited_for() -> None:
    clock = FakeClock()

    def sleep(seconds: float) -> None:
        clock.sleep(seconds)
        if len(clock.slept) == 2:
            source.press("tare")

    source = PracticeSource(Script(b"x"), 0.01, clock=clock, sleep=sleep)
    source.read(1.0)
    assert source.read(1.0) == KeyPressed(0.0, "tare")
    assert clock() - 1000.0 == pytest.approx(2 * POLL_S)


def test_commands_reach_the_hands_and_are_no_inputs() -> None:
    heard: list[str] = []
    source = PracticeSource(Script(b"x", b"y"), None, hands=heard.append)
    source.hand("hook")
    source.hand("crank_faster")
    assert [source.read(1.0) for _ in range(3)] == [
        LinkUp(0.0, PORT),
        BytesArrived(0.0125, b"x"),
        BytesArrived(0.025, b"y"),
    ]
    assert heard == ["hook", "crank_faster"]


def test_commands_without_hands_are_forgotten() -> None:
    source, _ = practice(Script(b"x"), None)
    source.hand("hook")
    assert [source.read(1.0) for _ in range(2)][-1] == BytesArrived(0.0125, b"x")


def test_a_keyboards_wind_through_the_meters_reader() -> None:
    """A minute of a person who hooks up, stretches out and cranks: the meter sees the torque rise."""
    hands = KeyboardHands(MOTOR, 0.1, 2.0)
    bench = Bench(SimulatedMotor(MOTOR), hands, WINDER.ratio, MeterModel(), np.random.default_rng(1))
    source = PracticeSource(bench, None, hands=hands.command)
    for command in ("hook", *["big_step_out"] * 5, "crank_faster"):
        source.hand(command)
    reader = MeterReader(SIMULATED)
    samples = []
    event = source.read(1.0)
    while event.at_s < 60.0:
        event = source.read(1.0)
        if isinstance(event, BytesArrived):
            samples += reader.feed(event.data)
    assert reader.hello is not None
    assert samples[-1].crank_turns == pytest.approx(71, abs=1)
    torque = [sample.torque_Nm for sample in samples if sample.torque_Nm is not None]
    assert torque[-1] > 3e-3 > 1e-3 > torque[100]
    source.hand("finish")
    assert isinstance([source.read(1.0) for _ in range(3)][-1], Ended)


def test_when_it_began_has_an_offset() -> None:
    assert practice(Script())[0].started.utcoffset() is not None


def test_what_comes_before_the_learner_is_not_waited_for_and_then_time_stands_till_they_begin() -> None:
    clock = FakeClock()
    heard: list[str] = []
    source = PracticeSource(
        Script(*[b"x"] * 40),
        2.0,
        hands=heard.append,
        hurries=lambda: source_at() < 20 * CHUNK_S,
        waits=True,
        clock=clock,
        sleep=clock.sleep,
    )
    events: list[Input] = []

    def source_at() -> float:
        return events[-1].at_s if events else 0.0

    def read() -> Input:
        events.append(source.read(0.1))
        return events[-1]

    for _ in range(21):
        read()
    assert isinstance(events[-1], BytesArrived)
    assert clock.slept == []
    for _ in range(3):
        assert source.read(0.1) == TimePassed(20 * CHUNK_S)
    assert sum(clock.slept) == pytest.approx(0.3, abs=3 * POLL_S)
    source.press("tare")
    assert source.read(0.1) == KeyPressed(20 * CHUNK_S, "tare")
    source.hand("crank_faster")
    began = clock()
    for number in range(21, 31):
        assert read() == BytesArrived(round(number * CHUNK_S, 6), b"x")
    assert heard == ["crank_faster"]
    # Ten chunks at twice the speed; the time before does not have to be made good.
    assert clock() - began == pytest.approx(10 * CHUNK_S / 2.0)
