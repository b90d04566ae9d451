"""Old is not live: a backlog is skipped and said, a stop of the program too, and a flood cannot fill the disk."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest

from tests.scenario import SETTINGS
from tests.sources.helpers import FakeClock, FakeWire, at_once, line, pty, until
from tests.test_session import HEADER
from winding_coach.base.inputs import BytesArrived, Input, LinkUp, Skipped, TimePassed
from winding_coach.coach.said import LinkSaid
from winding_coach.coach.step import Coach
from winding_coach.keeping.replaying import difference, settings_of
from winding_coach.live.session import Session
from winding_coach.live.sources.backlog import BYTES_AT_ONCE, BYTES_PER_S, JUNK_AT_ONCE, JUNK_PER_S, LATE_S
from winding_coach.live.sources.serial_port import SerialSource
from winding_coach.meter.frames import Sample, encode_sample
from winding_coach.traces.files import TraceWriter, read_trace
from winding_coach.traces.rows import TraceError, input_from, input_row, load

LINE_S = 0.0125


def opened(wire: FakeWire, clock: FakeClock) -> SerialSource:
    """A source on a wire, its link up."""
    source = SerialSource(
        "meter",
        clock=clock,
        sleep=clock.sleep,
        open_wire=lambda _: wire,
        list_ports=list,
        start=at_once,
    )
    until(source, LinkUp)
    return source


def lines(first: int, count: int) -> bytes:
    return b"".join(line(seq) for seq in range(first, first + count))


def test_a_backlog_is_skipped_ahead_of_and_said() -> None:
    """Lines that had waited for 3 s were taken for what torque is now."""
    clock = FakeClock()
    # A look takes 50 ms, which are four lines: the link is in time, then falls behind, then gives all at once.
    wire = FakeWire(clock, [lines(4 * at, 4) for at in range(20)])
    source = opened(wire, clock)
    for _ in range(20):
        assert isinstance(source.read(1.0), BytesArrived)
    wire.gives = [*[b""] * 40, lines(80, 100), lines(180, 100), lines(280, 50), lines(330, 1)]
    skipped, _ = until(source, Skipped)
    assert "late" in skipped.reason
    newest = source.read(1.0)
    assert isinstance(newest, BytesArrived)
    assert newest.data.endswith(line(330))
    assert len(newest.data) < 600, "only the newest lines"
    assert skipped.count + len(newest.data) == len(lines(80, 251))
    wire.gives = [lines(331, 4)]
    assert isinstance(source.read(1.0), BytesArrived), "in time again"


def test_lines_that_come_in_bursts_are_no_backlog() -> None:
    """A radio link that sends every 0.4 s is late by less than what may be shown."""
    clock = FakeClock()
    wire = FakeWire(clock)
    source = opened(wire, clock)
    seen: list[Input] = []
    for burst in range(20):
        wire.gives = [*[b""] * 7, lines(32 * burst, 32)]
        seen.append(source.read(1.0))
    assert all(isinstance(event, BytesArrived) for event in seen)
    assert LATE_S > 0.4


def test_after_a_stop_of_the_program_what_was_sent_meanwhile_is_not_now() -> None:
    """Stopped for 12 s and let go on, it showed torque of 12 s ago."""
    clock = FakeClock()
    wire = FakeWire(clock, [lines(0, 4)])
    source = opened(wire, clock)
    assert isinstance(source.read(1.0), BytesArrived)
    clock.now_s += 12.0
    wire.gives = [lines(4, 90), lines(94, 3)]
    skipped = source.read(1.0)
    assert isinstance(skipped, Skipped)
    assert skipped.count == len(lines(4, 93))
    assert "was paused for 12 s" in skipped.reason
    wire.gives = [lines(970, 4)]
    assert isinstance(source.read(1.0), BytesArrived)


def test_a_flood_of_rubbish_cannot_fill_the_disk(tmp_path: Path) -> None:
    """A port that gives a megabyte a second of no lines at all wrote all of it to the trace."""
    clock = FakeClock()
    rubbish = random.Random(4).randbytes(50_000)
    wire = FakeWire(clock, [rubbish] * 1200)
    source = opened(wire, clock)
    writer = TraceWriter(tmp_path, HEADER)
    taken: list[Input] = [LinkUp(0.0, "meter")]
    while wire.gives:
        taken.append(source.read(0.1))
    minute_s = taken[-1].at_s
    assert minute_s == pytest.approx(60.0, abs=1.0)

    class Given:
        def read(self, timeout_s: float) -> Input:
            return taken.pop(0)

        def press(self, name: str) -> None: ...

        def close(self) -> None: ...

    def end(_: object) -> None:
        if len(taken) == 1:
            session.stop()

    skipped = sum(event.count for event in taken if isinstance(event, Skipped))
    passed = sum(len(event.data) for event in taken if isinstance(event, BytesArrived))
    assert passed <= JUNK_AT_ONCE + JUNK_PER_S * minute_s
    assert passed + skipped > 0.95 * 60e6
    session = Session(Given(), Coach(SETTINGS), writer, seen=end)
    session.run()
    assert writer.path.stat().st_size < 1_000_000
    kept = read_trace(writer.path)
    assert difference(kept, settings_of(kept)) is None, "it can be replayed all the same"


def test_more_good_lines_than_any_meter_sends_are_left_out() -> None:
    clock = FakeClock()
    quick = [
        b"".join(encode_sample(Sample(at * 200 + i, at * 50_000 + i * 250, 84_000, 0)) for i in range(200))
        for at in range(200)
    ]
    wire = FakeWire(clock, [*quick])
    source = opened(wire, clock)
    seen: list[Input] = []
    while wire.gives:
        seen.append(source.read(0.1))
    passed = sum(len(event.data) for event in seen if isinstance(event, BytesArrived))
    assert passed <= BYTES_AT_ONCE + BYTES_PER_S * 10.5
    assert any(isinstance(event, Skipped) for event in seen)


def test_a_simulated_meter_may_run_faster_than_time() -> None:
    """At 25 times the speed its lines were taken for a flood, and the motor for broken."""
    clock = FakeClock()
    wire = FakeWire(clock, [lines(100 * at, 100) for at in range(400)])
    source = opened(wire, clock)
    seen = []
    while wire.gives:
        seen.append(source.read(0.1))
    assert all(isinstance(event, BytesArrived) for event in seen)


def test_time_passes_in_a_flood() -> None:
    clock = FakeClock()
    wire = FakeWire(clock, [b"x" * 50_000] * 400)
    source = opened(wire, clock)
    seen = [source.read(0.1) for _ in range(100)]
    assert any(isinstance(event, TimePassed) for event in seen), "or a silence would never be seen"


def test_a_skip_is_a_row_of_the_trace_and_comes_back() -> None:
    skipped = Skipped(3.25, 8123, "lines came 2.0 s late: the old ones are left out")
    row = input_row(skipped)
    assert row == (
        '{"at_s":3.25,"in":"left_out","bytes":8123,"reason":"lines came 2.0 s late: the old ones are left out"}'
    )
    assert input_from(load(row)) == skipped


@pytest.mark.parametrize("row", ['[1,"skip"]', '[1,"skip",-1,"x"]', '[1,"skip",true,"x"]', '[1,"skip",1.5,"x"]'])
def test_a_row_of_a_skip_that_is_none_is_refused(row: str) -> None:
    with pytest.raises(TraceError):
        input_from(load(row))


def test_the_coach_says_a_skip_once_and_not_again_and_again() -> None:
    coach = Coach(SETTINGS)
    coach.step(LinkUp(0.0, "meter"))
    coach.step(BytesArrived(0.1, lines(0, 4)))
    said = []
    for at in range(20):
        coach.step(Skipped(1.0 + 0.2 * at, 100, "late"))
        said += [one for one in coach.said if isinstance(one, LinkSaid)]
        coach.step(BytesArrived(1.1 + 0.2 * at, lines(100 * at, 2)))
    assert [one.reason for one in said] == ["late"]


def test_a_backlog_in_a_real_terminals_buffer_is_drained() -> None:
    """4 KB wait in the kernel after a stop: what is read next must be what comes next."""
    with pty() as port:
        clock = FakeClock()
        source = SerialSource(port.device, start=at_once, clock=clock, sleep=clock.sleep)
        until(source, LinkUp)
        port.send(lines(0, 2))
        until(source, BytesArrived)
        clock.now_s += 30.0
        os.write(port.master, lines(2, 60))
        skipped, _ = until(source, Skipped)
        assert skipped.count == len(lines(2, 60))
        port.send(lines(2402, 2))
        fresh, _ = until(source, BytesArrived)
        assert fresh.data == lines(2402, 2)
        source.close()
