"""Traces written as a wind goes, read back whole, cut, packed or spoilt."""

from __future__ import annotations

import errno
import gzip
import json
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.scenario import MODEL, MOTOR, PLAN, WINDER
from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.meter.calibration import SIMULATED
from winding_coach.traces import files, pen
from winding_coach.traces.files import TraceWriter, file_name, read_trace
from winding_coach.traces.header import Header, header_from
from winding_coach.traces.rows import TraceError

HEADER = Header(
    id="5f0c7a52-0000-4000-8000-000000000000",
    started=datetime(2026, 3, 1, 14, 5, 9, tzinfo=UTC),
    software="test",
    meter="simulated",
    calibration=SIMULATED,
    tare=84_250.5,
    motor=MOTOR,
    winder=WINDER,
    model=MODEL,
    person="Wren",
    plan=PLAN,
    units="inch",
    more={"weather": {"hall": "cold"}},
)
INPUTS: tuple[Input, ...] = (
    LinkUp(0.0, "port"),
    BytesArrived(0.0125, b"$D,0,50012,84211,08,c=0*9D73\r\n\x00\xff"),
    KeyPressed(0.5, "tare"),
    TimePassed(1.75),
    LinkDown(2.0, "pulled"),
)
SAID = {"event": "phase", "at_s": 0.0, "phase": "hook_up"}


def written(folder: Path) -> Path:
    writer = TraceWriter(folder, HEADER)
    for number, event in enumerate(INPUTS):
        writer.input(event)
        if number == 0:
            writer.said(SAID)
    writer.close()
    return writer.path


def test_a_trace_comes_back_as_it_was_written(tmp_path: Path) -> None:
    path = written(tmp_path / "new" / "folder")
    trace = read_trace(path)
    assert trace.header == HEADER
    assert trace.inputs == INPUTS
    assert trace.said == ((1, SAID),)
    assert trace.summary is None
    assert not trace.cut
    assert path.name == "2026-03-01-140509-th-07.wind.jsonl"


def test_traces_are_private_to_their_owner(tmp_path: Path) -> None:
    path = written(tmp_path / "traces")
    assert path.stat().st_mode & 0o077 == 0
    assert path.parent.stat().st_mode & 0o077 == 0


def test_a_second_wind_in_the_same_second_gets_a_name_of_its_own(tmp_path: Path) -> None:
    first, second = written(tmp_path), written(tmp_path)
    assert second.name == first.name.replace(".wind", "-2.wind")


@pytest.mark.parametrize("name", ["../../etc/x", "a b\n\x1b[31m", "", "…", "." * 80, "x" * 300])
def test_no_motor_name_leads_a_trace_astray(tmp_path: Path, name: str) -> None:
    from dataclasses import replace

    header = replace(HEADER, motor=replace(MOTOR, name=name))
    found = file_name(header)
    assert "/" not in found
    assert len(found) < 90
    writer = TraceWriter(tmp_path, header)
    writer.close()
    assert writer.path.parent == tmp_path
    assert read_trace(writer.path).header.motor == header.motor


def test_rows_reach_the_system_at_once(tmp_path: Path) -> None:
    """A killed program loses nothing: what was written can be read before the file is closed."""
    writer = TraceWriter(tmp_path, HEADER)
    writer.input(INPUTS[1])
    assert len(writer.path.read_bytes().splitlines()) == 2
    writer.close()


def test_packed_traces_are_read_too(tmp_path: Path) -> None:
    path = written(tmp_path)
    packed = tmp_path / "a.wind.jsonl.gz"
    packed.write_bytes(gzip.compress(path.read_bytes()))
    assert read_trace(packed).inputs == INPUTS


@pytest.mark.parametrize("lost", [1, 5, 25])
def test_a_cut_last_line_is_forgiven(tmp_path: Path, lost: int) -> None:
    path = written(tmp_path)
    path.write_bytes(path.read_bytes()[:-lost])
    trace = read_trace(path)
    assert trace.cut
    assert trace.inputs == INPUTS[: len(trace.inputs)]
    assert len(trace.inputs) >= len(INPUTS) - 2


def test_a_cut_packed_trace_gives_what_came_before(tmp_path: Path) -> None:
    packed = tmp_path / "a.gz"
    rows = written(tmp_path / "t").read_bytes() + b"".join(b'[%d,"time"]\n' % number for number in range(3, 9000))
    data = gzip.compress(rows, compresslevel=1)
    packed.write_bytes(data[: len(data) * 2 // 3])
    trace = read_trace(packed)
    assert trace.cut
    assert trace.inputs[: len(INPUTS)] == INPUTS


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (b"rubbish\n", "line 3 is not JSON"),
        (b"\xff\xfe\n", "line 3 is not text"),
        (b"5\n", "line 3 is neither"),
        (b'[0.5,"rx",7]\n', "line 3 is no input"),
        (b"[" * 50_000 + b"\n", "line 3 is not JSON"),
        (b"x" * (files.LONGEST_LINE + 5) + b"\n", "line 3 is longer than any trace"),
    ],
)
def test_anything_else_unreadable_names_its_line(tmp_path: Path, line: bytes, says: str) -> None:
    path = written(tmp_path)
    rows = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*rows[:2], line, *rows[2:]]))
    with pytest.raises(TraceError, match=says):
        read_trace(path)


def test_time_that_goes_back_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path)
    path.write_bytes(path.read_bytes() + b'[1.0,"time"]\n')
    with pytest.raises(TraceError, match=r"line 8 goes back in time"):
        read_trace(path)


def test_a_zip_bomb_is_refused_before_it_fills_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "LARGEST_TRACE", 2**20)
    path = tmp_path / "bomb.gz"
    path.write_bytes(gzip.compress(written(tmp_path / "t").read_bytes() + b'[3.0,"time"]\n' * 2**18))
    with pytest.raises(TraceError, match="longer than any trace"):
        read_trace(path)


@pytest.mark.parametrize("content", [b"", b"x", b"{}\n", b"[]\n", b'{"format":"other"}\n', b"\x1f\x8b\x08broken"])
def test_a_file_that_is_no_trace_is_said_to_be_none(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.wind.jsonl"
    path.write_bytes(content)
    with pytest.raises(TraceError, match="trace"):
        read_trace(path)


def test_a_missing_trace_and_a_folder_are_said(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="There is no trace"):
        read_trace(tmp_path / "none")
    with pytest.raises(TraceError, match="cannot be read"):
        read_trace(tmp_path)


@pytest.mark.parametrize(
    "change",
    [
        {"version": 4},
        {"version": True},
        {"started": "yesterday"},
        {"started": 5},
        {"motor": []},
        {"motor": {"loop_m": "x", "mass_kg": 1}},
        {"motor": {"loop_m": True, "mass_kg": 1}},
        {"motor": {"loop_m": 10**400, "mass_kg": 1}},
        {"motor": {"loop_m": 0.3, "mass_kg": 0.001, "strands": 0}},
        {"calibration": {"format": "other"}},
        {"plan": {"share": 1}},
        {"tare": "heavy"},
        {"person": 7},
    ],
)
def test_a_first_line_that_cannot_be_used_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(TraceError):
        header_from(HEADER.as_json() | change)


def test_absent_and_null_are_not_known() -> None:
    bare = header_from({"format": "winding-coach trace", "version": 1, "started": "2026-01-02T03:04:05+01:00"})
    assert (bare.motor, bare.winder, bare.model, bare.calibration, bare.plan, bare.tare) == (None,) * 6
    nulls = header_from(HEADER.as_json() | {"motor": None, "winder": None, "model": None, "plan": None})
    assert (nulls.motor, nulls.winder, nulls.model, nulls.plan) == (None,) * 4
    no_mass = header_from(HEADER.as_json() | {"motor": {"loop_m": 0.3}})
    assert no_mass.motor is None


def test_unknown_keys_are_kept() -> None:
    assert header_from(json.loads(json.dumps(HEADER.as_json()))).more == {"weather": {"hall": "cold"}}


def test_a_full_disk_does_not_stop_the_wind_and_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer = TraceWriter(tmp_path, HEADER)
    real = os.write

    def full(_file: int, _data: bytes) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    writer.input(INPUTS[0])
    writer.input(INPUTS[1])
    assert "No space left" in str(writer.trouble)
    monkeypatch.setattr(os, "write", real)
    for event in INPUTS[2:]:
        writer.input(event)
    assert str(writer.trouble) == "None"
    writer.close()
    assert read_trace(writer.path).inputs == INPUTS


def test_what_a_full_disk_keeps_in_memory_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer = TraceWriter(tmp_path, HEADER)
    monkeypatch.setattr(pen, "KEPT_BYTES", 1000)
    real = os.write
    monkeypatch.setattr(os, "write", lambda _file, _data: (_ for _ in ()).throw(OSError(errno.ENOSPC, "full")))
    for _ in range(100):
        writer.input(INPUTS[1])
    monkeypatch.setattr(os, "write", real)
    writer.close()
    assert len(read_trace(writer.path).inputs) < 100


def test_a_disk_that_cannot_sync_is_said_only_where_it_matters(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer = TraceWriter(tmp_path, HEADER)
    monkeypatch.setattr(os, "fsync", lambda _file: (_ for _ in ()).throw(OSError(errno.EINVAL, "cannot")))
    writer.sync()
    writer.settle()
    assert str(writer.trouble) == "None"
    monkeypatch.setattr(os, "fsync", lambda _file: (_ for _ in ()).throw(OSError(errno.EIO, "Input/output error")))
    writer.sync()
    writer.settle()
    assert "Input/output error" in str(writer.trouble)
    monkeypatch.undo()
    writer.close()


def test_a_folder_that_cannot_be_made_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(TraceError, match="No trace can be written"):
        TraceWriter(tmp_path / "file" / "traces", HEADER)


def test_the_end_of_a_source_is_no_row(tmp_path: Path) -> None:
    writer = TraceWriter(tmp_path, HEADER)
    writer.input(Ended(3.0))
    writer.close()
    assert read_trace(writer.path).inputs == ()


def test_a_text_where_a_number_should_be_is_named() -> None:
    with pytest.raises(TraceError, match=r"winder\.ratio"):
        header_from(HEADER.as_json() | {"winder": {"ratio": "ten"}})
    with pytest.raises(TraceError, match=r"model\.hooks_m"):
        header_from(json.loads(json.dumps(HEADER.as_json()).replace('"hooks_m": 0.22', '"hooks_m": 1e999')))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_that_nobody_writes_to_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "x.wind.jsonl")
    with pytest.raises(TraceError, match=r"it is no file.*check its name"):
        read_trace(tmp_path / "x.wind.jsonl")
