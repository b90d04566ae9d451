"""A wind's values as they are made: moments told by hand, the value expected."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.coach.test_alarms import CALM
from winding_coach.coach.notes import Notes
from winding_coach.coach.said import Phase, Summary


def summary_of(*moments: dict[str, Any], every_s: float = 1.0) -> Summary:
    """Return the summary of a wind of these moments, each a change of the walk-in's calm one, `every_s` apart."""
    notes = Notes()
    for number, changes in enumerate(moments):
        calm = replace(CALM, at_s=every_s * number, phase=Phase.WALK_IN, torque_Nm=3e-3)
        notes.tell(replace(calm, **changes))
    return notes.summary(every_s * len(moments), "done", 0, None)


def test_the_share_in_the_rate_band_is_of_the_time_that_has_one() -> None:
    band = {"rate_low_Nm_per_s": 1e-5, "rate_high_Nm_per_s": 3e-5}
    within, above = band | {"rate_Nm_per_s": 2e-5}, band | {"rate_Nm_per_s": 4e-5}
    uncounted = (
        within | {"phase": Phase.WIND_STRETCHED},
        within | {"rate_Nm_per_s": None},
        within | {"silent_s": 0.6},
        within | {"torque_Nm": None},
    )
    # Each moment stands for the time since the one before; the first for none.
    assert summary_of(above, within, within, within, above, *uncounted).time_in_rate_band == pytest.approx(0.75)
    assert summary_of(*uncounted).time_in_rate_band is None


def test_notes_of_a_wind_that_never_was() -> None:
    summary = Notes().summary(3.0, "stopped", 0, None)
    assert summary == Summary(3.0, "stopped", duration_s=3.0)
    assert summary.as_json()["time_in_rate_band"] is None


def test_a_wind_that_ends_early_ends_where_its_last_climb_did() -> None:
    """Steps let torque fall: the highest may be many turns before the end, and what came off counts from the end."""
    notes = Notes()
    saw_tooth = ((1000.0, 6.4), (1000.0, 4.5), (1100.0, 6.0), (1200.0, 6.2), (1200.0, 4.0), (1210.0, 3.9))
    at_s = 0.0
    for turns, torque_mNm in saw_tooth:
        for _ in range(20):
            at_s += 0.1
            notes.tell(replace(CALM, at_s=at_s, phase=Phase.WALK_IN, turns=turns, torque_Nm=1e-3 * torque_mNm))
    assert notes.marks.peak_turns == 1000.0
    notes.ended()
    marks = notes.marks
    assert marks.peak_turns == 1200.0
    assert marks.peak_torque_Nm == pytest.approx(6.4e-3, rel=0.02)
    assert marks.peak_at_s is not None
    assert 6.0 < marks.peak_at_s < 8.1
