"""The simulated meter's port on real pseudo-terminals, and its pace by a clock that only sleeping moves."""

from __future__ import annotations

import errno
import os
import select
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.scenario import MOTOR, PLAN, WINDER
from tests.sources.helpers import FakeClock, eventually
from winding_coach.live.sources.emulator import LINGER_S, TICK_S, PseudoPort, emulate
from winding_coach.meter.frames import FrameParser, Hello
from winding_coach.simulator.bench import Bench, MeterModel
from winding_coach.simulator.faults import FaultyBench, parse_fault
from winding_coach.simulator.hands import STYLES, ScriptedHands
from winding_coach.simulator.motor import SimulatedMotor


@contextmanager
def reader(device: str | Path) -> Iterator[int]:
    """The far end, open for reading and writing."""
    opened = os.open(device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        yield opened
    finally:
        os.close(opened)


def read(opened: int, count: int = 65_536) -> bytes:
    """What has come, waited for within a second."""
    select.select([opened], [], [], 1.0)
    return os.read(opened, count)


@pytest.fixture
def port() -> Iterator[PseudoPort]:
    """A port without a link."""
    made = PseudoPort()
    yield made
    made.unplug()


class TestPort:
    """A pseudo-terminal that behaves as a meter's port."""

    def test_bytes_both_ways_unchanged(self, port: PseudoPort) -> None:
        every = bytes(range(256))
        with reader(port.device) as far:
            port.send(every)
            assert read(far) == every
            os.write(far, b"?\r\n\x03\x04")
            eventually(lambda: port.has_reader)
            assert port.received() == b"?\r\n\x03\x04"
            assert port.received() == b""

    def test_without_a_reader_bytes_are_lost_as_at_a_real_port(self, port: PseudoPort) -> None:
        had_reader = [port.has_reader]
        port.send(b"before")
        assert port.received() == b""
        with reader(port.device) as far:
            had_reader.append(port.has_reader)
            port.send(b"after")
            assert read(far) == b"after"
        had_reader.append(port.has_reader)
        assert had_reader == [False, True, False]
        assert port.received() == b""

    def test_a_reader_that_goes_just_now_is_no_error(self, port: PseudoPort, monkeypatch: pytest.MonkeyPatch) -> None:
        def gone(*_: object) -> int:
            raise OSError(errno.EIO, "gone")

        with reader(port.device):
            monkeypatch.setattr(os, "write", gone)
            port.send(b"x")
        assert port.plugged

    def test_what_a_slow_reader_has_no_room_for_is_dropped_and_nothing_waits(self, port: PseudoPort) -> None:
        with reader(port.device) as far:
            for _ in range(100):
                port.send(b"x" * 4096)
            assert 0 < len(read(far, 1_000_000)) < 100 * 4096

    def test_unplugged_the_reader_sees_the_end(self, port: PseudoPort) -> None:
        with reader(port.device) as far:
            port.unplug()
            assert not port.plugged
            assert not port.has_reader
            with pytest.raises(OSError, match=os.strerror(errno.EIO)):
                os.write(far, b"?")
            port.send(b"x")
            assert port.received() == b""
            port.unplug()

    def test_it_comes_back_under_another_name(self, port: PseudoPort) -> None:
        names = [port.device]
        for _ in range(3):
            port.unplug()
            port.plug()
            names.append(port.device)
        assert all(before != after for before, after in pairwise(names))
        with reader(port.device) as far:
            port.send(b"here")
            assert read(far) == b"here"

    def test_nothing_to_send_is_nothing(self, port: PseudoPort) -> None:
        port.send(b"")
        assert port.plugged

    def test_a_fault_of_the_system_is_not_hidden(self, port: PseudoPort, monkeypatch: pytest.MonkeyPatch) -> None:
        def broken(*_: object) -> int:
            raise OSError(errno.ENOSPC, "full")

        monkeypatch.setattr(os, "write", broken)
        monkeypatch.setattr(os, "read", broken)
        with reader(port.device):
            with pytest.raises(OSError, match="full"):
                port.send(b"x")
            with pytest.raises(OSError, match="full"):
                port.received()


class TestLink:
    """A path that leads to the present device."""

    def test_follows_the_device_and_goes_with_it(self, tmp_path: Path) -> None:
        link = tmp_path / "meter"
        port = PseudoPort(link)
        first = os.readlink(link)
        assert first == port.device
        port.unplug()
        assert not link.is_symlink()
        port.plug()
        assert os.readlink(link) == port.device != first
        with reader(link) as far:
            port.send(b"here")
            assert read(far) == b"here"
        port.unplug()
        assert list(tmp_path.iterdir()) == []

    def test_takes_over_from_a_dead_emulator(self, tmp_path: Path) -> None:
        link = tmp_path / "meter"
        link.symlink_to("/nowhere/at/all")
        port = PseudoPort(link)
        assert os.readlink(link) == port.device
        port.unplug()

    def test_leaves_a_link_that_another_took_over(self, tmp_path: Path) -> None:
        link = tmp_path / "meter"
        port = PseudoPort(link)
        other = PseudoPort(link)
        port.unplug()
        assert os.readlink(link) == other.device
        other.unplug()
        assert not link.is_symlink()

    def test_never_overwrites_a_file(self, tmp_path: Path) -> None:
        file = tmp_path / "precious"
        file.write_text("mine")
        with pytest.raises(FileExistsError):
            PseudoPort(file)
        assert file.read_text() == "mine"

    def test_a_link_that_cannot_be_made_leaves_no_device_behind(self, tmp_path: Path) -> None:
        before = len(os.listdir("/proc/self/fd")) if Path("/proc/self/fd").exists() else 0
        with pytest.raises(FileNotFoundError):
            PseudoPort(tmp_path / "no" / "such" / "folder")
        after = len(os.listdir("/proc/self/fd")) if Path("/proc/self/fd").exists() else 0
        assert after == before


class Script:
    """A bench that is done after some ticks; its lead may be out for some."""

    def __init__(self, ticks: int, out: range = range(0)) -> None:
        self.ticks, self.out = ticks, out
        self.tick = 0
        self.heard = b""

    @property
    def plugged(self) -> bool:
        """Whether the lead is in."""
        return self.tick not in self.out

    @property
    def done(self) -> bool:
        """Whether the hands have finished."""
        return self.tick >= self.ticks

    def advance(self, dt_s: float) -> bytes:
        """Say which tick it is."""
        assert dt_s == TICK_S
        self.tick += 1
        return b"%d\n" % self.tick

    def answer(self, data: bytes) -> None:
        """Note what the host said."""
        self.heard += data


class TestEmulate:
    """A bench on a port, paced to absolute times."""

    @pytest.mark.parametrize("speed", [0.5, 1.0, 10.0])
    def test_pace_and_last_bytes(self, port: PseudoPort, speed: float) -> None:
        """When the hands have finished the meter stays a second, for a reader to take the last bytes."""
        clock = FakeClock()
        bench = Script(80)
        emulate(bench, port, speed=speed, clock=clock, sleep=clock.sleep)
        assert clock() - 1000.0 == pytest.approx(80 * TICK_S / speed + LINGER_S, abs=2 * TICK_S / speed)
        assert bench.tick == pytest.approx(80 + LINGER_S * speed / TICK_S, abs=2)
        assert not port.plugged

    def test_a_late_tick_is_caught_up(self, port: PseudoPort) -> None:
        """Every tenth sleep takes four ticks too long; the ticks after it do not sleep."""
        clock = FakeClock()
        bench = Script(80)

        def sleep(seconds: float) -> None:
            clock.sleep(seconds + (4 * TICK_S if len(clock.slept) % 10 == 9 else 0.0))

        emulate(bench, port, clock=clock, sleep=sleep)
        assert len(clock.slept) < 150
        assert clock() - 1000.0 == pytest.approx(80 * TICK_S + LINGER_S, abs=9 * TICK_S)

    def test_stopped(self, port: PseudoPort) -> None:
        clock = FakeClock()
        bench = Script(10**6)
        emulate(bench, port, stopped=lambda: clock() > 1001.0, clock=clock, sleep=clock.sleep)
        assert bench.tick == pytest.approx(80, abs=2)
        assert not port.plugged

    def test_until_stopped_it_stays_after_the_hands(self, port: PseudoPort) -> None:
        clock = FakeClock()
        bench = Script(8)
        emulate(bench, port, until_stopped=True, stopped=lambda: clock() > 1010.0, clock=clock, sleep=clock.sleep)
        assert bench.tick == pytest.approx(800, abs=2)

    def test_time_begins_when_somebody_opens_the_device(self, port: PseudoPort) -> None:
        clock = FakeClock()
        bench = Script(8)
        opened: list[int] = []
        said: list[bytes] = []

        def sleep(seconds: float) -> None:
            clock.sleep(seconds)
            if clock() > 1005.0 and not opened:
                assert bench.tick == 0
                opened.append(os.open(port.device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK))
                os.write(opened[0], b"?")
            elif bench.tick == 8:
                said.append(read(opened[0]))

        try:
            emulate(bench, port, wait_for_reader=True, clock=clock, sleep=sleep)
            assert said[0] == b"1\n2\n3\n4\n5\n6\n7\n8\n"
        finally:
            os.close(opened[0])
        assert bench.heard == b"?"
        assert clock() - 1005.0 == pytest.approx(8 * TICK_S + LINGER_S, abs=0.1)

    def test_stopped_while_nobody_has_come(self, port: PseudoPort) -> None:
        clock = FakeClock()
        bench = Script(8)
        emulate(bench, port, wait_for_reader=True, stopped=lambda: clock() > 1001.0, clock=clock, sleep=clock.sleep)
        assert bench.tick == 0
        assert not port.plugged

    def test_the_lead_goes_out_and_in_with_the_bench(self, tmp_path: Path) -> None:
        link = tmp_path / "meter"
        clock = FakeClock()
        bench = Script(30, range(10, 20))
        port = PseudoPort(link)
        seen: list[tuple[int, bool, str]] = []

        def stopped() -> bool:
            seen.append((bench.tick, link.is_symlink(), port.device))
            return False

        emulate(bench, port, stopped=stopped, clock=clock, sleep=clock.sleep)
        there = {tick: linked for tick, linked, _ in seen}
        assert [there[tick] for tick in range(1, 31)] == [True] * 10 + [False] * 10 + [True] * 10
        assert seen[0][2] != seen[-1][2]

    def test_the_link_goes_though_the_bench_fails(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        link = tmp_path / "meter"
        clock = FakeClock()
        bench = Script(30)

        def fails(_: float) -> bytes:
            raise ArithmeticError("a fault of the model")

        monkeypatch.setattr(bench, "advance", fails)
        with pytest.raises(ArithmeticError):
            emulate(bench, PseudoPort(link), clock=clock, sleep=clock.sleep)
        assert not link.is_symlink()

    def test_a_whole_bench_speaks_the_protocol_and_answers(self, port: PseudoPort) -> None:
        clock = FakeClock()
        rng = np.random.default_rng(3)
        hands = ScriptedHands(PLAN, MOTOR, WINDER, STYLES["good"], rng)
        inner = Bench(SimulatedMotor(MOTOR), hands, WINDER.ratio, MeterModel(), rng)
        bench = FaultyBench(inner, (parse_fault("silent@2:1"),), rng)
        parser = FrameParser()
        got: list[object] = []

        def sleep(seconds: float) -> None:
            clock.sleep(seconds)
            with_bytes, _, _ = select.select([far], [], [], 0)
            if with_bytes:
                got.extend(parser.feed(os.read(far, 65_536)))
            if len(got) == 100:
                os.write(far, b"?")

        with reader(port.device) as far:
            emulate(bench, port, stopped=lambda: clock() > 1004.0, clock=clock, sleep=sleep)
        assert parser.bad_lines == 0
        assert len(got) > 230
        assert sum(isinstance(frame, Hello) for frame in got) >= 2
