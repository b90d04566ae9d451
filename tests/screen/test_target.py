"""The target on the screen is the one that the words name."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from winding_coach.coach.loop import taken
from winding_coach.coach.said import Phase, Prompt
from winding_coach.coach.step import Coach
from winding_coach.coach.view import CoachView
from winding_coach.keeping.replaying import settings_of
from winding_coach.screen.figures import peak_aim_Nm, waiting_line
from winding_coach.traces.files import read_trace

RECORDING = Path(__file__).parents[2] / "recordings" / "good-wind.wind.jsonl.gz"
CLIMB = ("stop_at_peak", "walk_in_to")


def views() -> list[CoachView]:
    """Return the recorded wind's views at twenty inputs a second."""
    trace = read_trace(RECORDING)
    coach = Coach(replace(settings_of(trace), tare_counts=None))
    return [coach.view for number, _ in enumerate(taken(coach, trace.inputs)) if number % 4 == 0]


def test_the_screen_s_target_is_that_of_the_words() -> None:
    """The screen said 6.78 from the plan beside words that said 6.58."""
    named: list[float] = []
    last: Prompt | None = None
    for view in views():
        prompt, before = view.prompt, last
        last = prompt
        if prompt is None or prompt is before or prompt.code not in CLIMB or prompt.torque_Nm is None:
            continue
        named.append(prompt.torque_Nm)
        # Up to four inputs later, by which the scale of this motor may have moved.
        assert peak_aim_Nm(view) == pytest.approx(prompt.torque_Nm, rel=2e-3), (prompt, view.phase)
    assert named, "the wind names its target"


def test_a_motor_that_was_taken_off_has_no_share_of_the_launch_torque() -> None:
    ready = next(view for view in reversed(views()) if view.phase is Phase.READY)
    gone = replace(ready, reading=replace(ready.reading, torque_Nm=0.0), shown_torque_Nm=0.0, stale=False)
    assert "the motor is off the meter" in waiting_line(gone)
