"""The unit of standing in a trace: read back as written, absent in older ones, refused if absurd."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from winding_coach.base.standing import USUAL, Steps
from winding_coach.traces.header import Header, header_from
from winding_coach.traces.rows import TraceError

STARTED = datetime(2026, 3, 1, 14, 5, 9, tzinfo=UTC)


def written(steps: Steps) -> dict[str, Any]:
    return Header("an id", STARTED, steps=steps).as_json()


@pytest.mark.parametrize(
    "steps", [USUAL, Steps("feet"), Steps("paces", 0.6), Steps("tape", 0.7, (0.25, 0.5, 0.75)), Steps("metres")]
)
def test_steps_are_read_back_as_written(steps: Steps) -> None:
    assert header_from(written(steps)).steps == steps


def test_a_trace_without_them_or_with_a_unit_of_tomorrow_has_the_usual_ones() -> None:
    older = written(USUAL)
    del older["steps"]
    assert header_from(older).steps == USUAL
    assert header_from(older | {"steps": {"unit": "cubits"}}).steps == USUAL


@pytest.mark.parametrize(
    "steps",
    [
        {"unit": "tape"},
        {"unit": "tape", "tape_m": []},
        {"unit": "tape", "tape_m": [0.5, 0.25]},
        {"unit": "tape", "tape_m": [0.5, "far"]},
        {"unit": "tape", "tape_m": [-1.0]},
        {"unit": "tape", "tape_m": [True]},
        {"unit": "tape", "tape_m": 4},
        {"unit": "paces", "pace_m": 1e9},
        {"unit": "paces", "pace_m": "long"},
        {"unit": 3},
        7,
    ],
)
def test_steps_that_nobody_can_take_are_refused(steps: Any) -> None:
    with pytest.raises(TraceError, match="cannot be used"):
        header_from(written(USUAL) | {"steps": steps})
