"""Traces of the versions before: the same inputs, whatever form their rows have."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from winding_coach.base.inputs import BytesArrived, Ended, Input, KeyPressed, LinkDown, LinkUp, Skipped, TimePassed
from winding_coach.traces.files import read_trace
from winding_coach.traces.header import READ, VERSION
from winding_coach.traces.rows import dump, input_row

RECORDING = Path(__file__).parent.parent.parent / "recordings" / "meter-reset-and-unplugged.wind.jsonl.gz"


def array_row(event: Input) -> list[Any]:
    """The row that versions 1 and 2 had for an input; written out here, apart from the reader."""
    match event:
        case BytesArrived(at_s, data):
            return [at_s, "rx", data.decode("latin-1")]
        case TimePassed(at_s):
            return [at_s, "time"]
        case KeyPressed(at_s, name):
            return [at_s, "key", name]
        case LinkUp(at_s, port):
            return [at_s, "link", "up", port]
        case LinkDown(at_s, reason):
            return [at_s, "link", "down", reason]
        case Skipped(at_s, count, reason):
            return [at_s, "skip", count, reason]
        case Ended():
            raise AssertionError("no trace holds it")


@pytest.mark.parametrize("version", READ)
def test_inputs_are_the_same_in_every_version(version: int, tmp_path: Path) -> None:
    trace = read_trace(RECORDING)
    end_s = trace.inputs[-1].at_s
    inputs = (*trace.inputs, KeyPressed(end_s, "tare"), Skipped(end_s, 4096, "late"))
    rows = [input_row(event) if version == VERSION else json.dumps(array_row(event)) for event in inputs]
    path = tmp_path / "one.wind.jsonl"
    header = dump(trace.header.as_json() | {"version": version})
    path.write_text("\n".join([header, *(row or "" for row in rows)]) + "\n", encoding="utf-8")
    again = read_trace(path)
    assert again.inputs == inputs
    assert {type(event) for event in inputs} >= {BytesArrived, KeyPressed, LinkUp, LinkDown, Skipped}


def test_a_file_may_hold_both_forms(tmp_path: Path) -> None:
    path = tmp_path / "one.wind.jsonl"
    header = dump(read_trace(RECORDING).header.as_json())
    path.write_text(header + '\n[1.0,"time"]\n{"at_s":2.0,"in":"time"}\n', encoding="utf-8")
    assert read_trace(path).inputs == (TimePassed(1.0), TimePassed(2.0))
