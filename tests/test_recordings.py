"""Golden replays: each recording, its phases and alarms, and all that is said, compared with what is kept."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import pytest

from winding_coach.keeping.replaying import difference, said_again, settings_of
from winding_coach.traces.files import Trace, read_trace
from winding_coach.traces.rows import dump, input_row

FOLDER = Path(__file__).parent.parent / "recordings"
RECORDINGS = sorted(FOLDER.glob("*.wind.jsonl.gz"))
EXPECTED: dict[str, tuple[str, set[str]]] = {
    "good-wind": ("done", set()),
    "stalled-crank": ("done", {"crank_stalled"}),
    "walked-in-too-fast": ("done", set()),
    "overwound-until-it-broke": ("broken", {"overwind_soon", "overwind", "motor_broke"}),
    "meter-reset-and-unplugged": ("done", {"meter_silent"}),
}
"""Outcome, and the alarms that the recording is there to show."""


def name_of(path: Path) -> str:
    return path.name.removesuffix(".wind.jsonl.gz")


def write_said(trace: Trace) -> None:
    """Write the trace again with the same inputs and what is said now."""
    header = trace.header.as_json()
    again = said_again(trace, settings_of(trace))
    rows = [dump(header)]
    waiting = list(again)
    for number, event in enumerate(trace.inputs, 1):
        row = input_row(event)
        assert row is not None
        rows.append(row)
        while waiting and waiting[0][0] == number:
            said = waiting.pop(0)[1]
            rows.append(dump(_named(said, trace)))
    trace.path.write_bytes(gzip.compress(("\n".join(rows) + "\n").encode(), mtime=0))


def _named(said: dict[str, Any], trace: Trace) -> dict[str, Any]:
    if said["event"] == "summary" and trace.summary is not None:
        return said | {"trace": trace.summary["trace"]}
    return said


def test_there_are_the_five_that_the_readme_lists() -> None:
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert {name_of(path) for path in RECORDINGS} == set(EXPECTED)
    for path in RECORDINGS:
        assert path.name in readme


@pytest.mark.no_cover
@pytest.mark.parametrize("path", RECORDINGS, ids=name_of)
def test_a_recording_says_what_it_said(path: Path, update_golden: bool) -> None:
    trace = read_trace(path)
    if update_golden:
        write_said(trace)
        trace = read_trace(path)
    assert difference(trace, settings_of(trace)) is None


@pytest.mark.parametrize("path", RECORDINGS, ids=name_of)
def test_a_recording_shows_what_it_is_for(path: Path) -> None:
    trace = read_trace(path)
    outcome, shows = EXPECTED[name_of(path)]
    assert trace.summary is not None
    assert trace.summary["outcome"] == outcome
    alarms = {said["code"] for _, said in trace.said if said["event"] == "alarm" and said["active"]}
    assert shows <= alarms
    assert alarms - shows <= {"overwind_soon", "overwind", "rising_too_fast", "torque_falling"}
    if name_of(path) == "walked-in-too-fast":
        # Torque leads: the word to wait, and one on long steps, come before any alarm.
        words = [said for _, said in trace.said if said["event"] == "prompt"]
        assert [said["code"] for said in words].count("wait_here") >= 3
        assert "step_shorter" in {said["code"] for said in words}
    assert "simulated" in json.dumps(trace.header.more)


def test_the_recording_with_a_reset_has_one_and_a_lost_link() -> None:
    trace = read_trace(FOLDER / "meter-reset-and-unplugged.wind.jsonl.gz")
    links = [said["state"] for _, said in trace.said if said["event"] == "link"]
    assert links.count("down") >= 1
    assert links[-1] == "up"
    assert b"rst=ext" in b"".join(getattr(event, "data", b"") for event in trace.inputs)
