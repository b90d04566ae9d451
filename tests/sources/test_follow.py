"""Following a trace that grows: rows as they come, time while none do, and every way in which it can end."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.scenario import MODEL, MOTOR, PLAN, WINDER
from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.live.sources.clock import started_now
from winding_coach.live.sources.follow import GRACE_S, FollowSource
from winding_coach.meter.calibration import SIMULATED
from winding_coach.traces.files import TraceWriter
from winding_coach.traces.header import Header
from winding_coach.traces.rows import TraceError


class Time:
    """A clock that only sleeping moves."""

    def __init__(self) -> None:
        self.now = 10.0

    def clock(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds


@pytest.fixture
def writer(tmp_path: Path) -> TraceWriter:
    header = Header(
        "id", started_now(), calibration=SIMULATED, motor=MOTOR, winder=WINDER, model=MODEL, plan=PLAN, person="Wren"
    )
    return TraceWriter(tmp_path, header)


@pytest.fixture
def time() -> Time:
    return Time()


@pytest.fixture
def source(writer: TraceWriter, time: Time) -> Iterator[FollowSource]:
    source = FollowSource(writer.path, clock=time.clock, sleep=time.sleep)
    yield source
    source.close()


def test_rows_come_as_they_are_written_and_what_was_said_is_passed_over(
    writer: TraceWriter, source: FollowSource
) -> None:
    events: list[Input] = [LinkUp(0.1, "port"), BytesArrived(0.2, b"\xff$D"), KeyPressed(0.3, "tare"), TimePassed(0.5)]
    writer.input(events[0])
    assert source.header.motor == MOTOR
    assert source.started == source.header.started
    assert source.read(0.1) == events[0]
    for event in events[1:]:
        writer.said({"event": "phase", "at_s": 0.2, "phase": "hook_up"})
        writer.input(event)
    assert [source.read(0.1) for _ in events[1:]] == events[1:]


def test_silence_is_time_that_passes_and_never_goes_back(writer: TraceWriter, source: FollowSource, time: Time) -> None:
    writer.input(BytesArrived(5.0, b"x"))
    assert source.read(0.1).at_s == 5.0
    assert source.read(0.1) == TimePassed(5.0)  # Within the grace.
    time.now += 3.0
    silent = source.read(0.1)
    assert isinstance(silent, TimePassed)
    assert silent.at_s == pytest.approx(5.0 + 3.2 - GRACE_S, abs=0.05)
    writer.input(BytesArrived(7.0, b"late"))
    late = source.read(0.1)
    assert late == BytesArrived(silent.at_s, b"late")
    writer.input(BytesArrived(9.0, b"y"))
    assert source.read(0.1) == BytesArrived(9.0, b"y")


def test_a_line_cut_in_the_middle_waits_for_its_end(writer: TraceWriter, source: FollowSource) -> None:
    with writer.path.open("ab") as file:
        file.write(b'{"at_s":1.5,"in":"bytes","data":')
        file.flush()
        assert source.read(0.05) == TimePassed(0.0)
        file.write(b'"ok"}\n')
        file.flush()
    assert source.read(0.05) == BytesArrived(1.5, b"ok")


def test_it_ends_with_the_summary(writer: TraceWriter, source: FollowSource) -> None:
    writer.input(BytesArrived(2.0, b"x"))
    writer.said({"event": "summary", "at_s": 2.0, "outcome": "done"})
    assert source.read(0.1) == BytesArrived(2.0, b"x")
    assert source.read(0.1) == Ended(2.0)
    assert source.over
    assert source.read(0.1) == Ended(2.0)


def test_only_quit_is_heard(source: FollowSource) -> None:
    source.press("stop")
    assert source.read(0.1) == TimePassed(0.0)
    source.press("quit")
    assert source.read(0.1) == Ended(0.0)
    assert source.read(0.1) == Ended(0.0)


@pytest.mark.parametrize(
    "line",
    [
        b"rubbish",
        b"[1]",
        b'"text"',
        b'[1,"rx"',
        b"\xff\xfe",
        b'[NaN,"time"]',
        b'{"at_s":1,"in":"rubbish"}',
        b'{"at_s":NaN,"in":"time"}',
    ],
)
def test_a_spoilt_line_is_said_and_nothing_after_it_believed(
    writer: TraceWriter, source: FollowSource, line: bytes
) -> None:
    with writer.path.open("ab") as file:
        file.write(line + b'\n[9.0,"time"]\n')
    said = source.read(0.1)
    assert isinstance(said, LinkDown)
    assert said.reason.startswith("the trace cannot be read on: line 2 ")
    assert isinstance(source.read(0.1), TimePassed)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "has no complete first line"),
        (b'{"format": "other"}\n', ""),
        (b"\x1f\x8b\x08packed\n", "is not text"),
        (json.dumps({"format": "winding-coach trace"}).encode(), "has no complete first line"),
    ],
)
def test_what_is_no_trace_is_refused_in_a_sentence(tmp_path: Path, content: bytes, why: str) -> None:
    path = tmp_path / "x.wind.jsonl"
    path.write_bytes(content)
    with pytest.raises(TraceError, match=f"is not a trace that can be followed: it .*{why}"):
        FollowSource(path)


def test_a_missing_file_is_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match=r"cannot be read .*: check the name"):
        FollowSource(tmp_path / "none")


def test_a_line_past_all_measure_is_refused_without_being_kept(writer: TraceWriter, source: FollowSource) -> None:
    with writer.path.open("ab") as file:
        file.write(b"x" * (2**20 + 2**19))
        file.flush()
        for _ in range(3):
            source.read(0.1)
        file.write(b"\n")
    said = source.read(0.1)
    assert isinstance(said, LinkDown)
