"""What the coach must never do: say "more" at a limit, hide a danger, show what is old as live, trust an estimate.

More of it, over all cases and for as long as wanted: `python -m tests.bench.safety`.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import Phase as Phase_
from hypothesis import settings
from hypothesis.stateful import run_state_machine_as_test

from tests.trust.machine import AnyWind
from tests.trust.winder import CASES, Case, Guarded
from winding_coach.coach.limits import limits_from
from winding_coach.coach.said import Phase

CASE = {case.name: case for case in CASES}


class AFewWinds(AnyWind):
    """Those that are tried at every change."""

    cases = (CASE["usual"], CASE["stiff motor, weak winder"])
    starts = (0.4, 0.97)


def test_nothing_forbidden_in_any_wind() -> None:
    run_state_machine_as_test(
        AFewWinds,
        settings=settings(
            max_examples=8, stateful_step_count=8, deadline=None, phases=[Phase_.generate], database=None
        ),
    )


def cranked_on(case: Case, share: float, seconds: float = 8.0) -> Guarded:
    """Somebody who cranks on whatever is said."""
    going = Guarded(case, share)
    going.wind.hands.rev_per_s = 1.5
    going.go_on(seconds)
    return going


@pytest.mark.parametrize("name", ["usual", "stiff motor, weak winder"])
def test_past_a_limit_nothing_asks_for_more(name: str) -> None:
    going = cranked_on(CASE[name], 0.97)
    assert going.guard.broken == []
    assert {alarm.code for alarm in going.coach.view.alarms} & {"overwind", "winder_limit"}


def test_a_stiff_motor_is_not_wound_past_a_rating() -> None:
    """Once the live scale lifted the peak past the winder's rating: keep cranking, it said, to 7.4 of 6.9 mN·m."""
    settings_ = Guarded(CASE["stiff motor, weak winder"], 0.4).wind.settings
    limits = limits_from(settings_)
    assert limits.winder_Nm is not None
    for scale in (0.85, 1.0, 1.15):
        assert limits.scaled(scale).peak_Nm <= 0.95 * limits.winder_Nm + 1e-12
    free = replace(limits, winder_Nm=None, meter_Nm=None)
    assert free.scaled(1.15).peak_Nm == pytest.approx(1.15 * free.peak_Nm)


@pytest.mark.parametrize("spoil", ["no data", "saturated", "silent", "rubbish"])
def test_a_meter_that_gives_nothing_is_not_cranked_by(spoil: str) -> None:
    """Lines without a reading kept an old torque on the screen as live, and "keep cranking" stood beside the alarm."""
    going = Guarded(CASE["usual"], 0.4)
    going.wind.hands.rev_per_s = 0.0
    going.go_on(1.5)
    going.wind.spoil = spoil
    going.go_on(4.0)
    assert going.guard.broken == []
    view = going.coach.view
    assert view.reading.torque_Nm is None
    assert view.alarms[0].code in ("meter_silent", "meter_saturated", "meter_limit")
    assert view.prompt is not None
    assert view.prompt.code == "stop_at_peak"
    going.wind.spoil = ""
    going.go_on(4.0)
    assert going.guard.broken == []
    assert going.coach.view.reading.torque_Nm is not None
    assert going.coach.view.alarms == ()


def test_a_dead_crank_sensor_does_not_keep_the_coach_waiting() -> None:
    """It waited for the first turn, saying "start cranking", until the motor had broken."""
    going = cranked_on(CASE["dead crank sensor"], 0.4, 4.0)
    assert going.guard.broken == []
    assert going.coach.view.phase in (Phase.WIND_STRETCHED, Phase.WALK_IN)
    assert going.coach.view.reading.turns_source in ("unknown", "estimated")
    going.press("count")
    assert going.coach.view.reading.turns_source in ("unknown", "estimated"), "taps cannot know what was missed"


def test_after_a_silence_the_stop_stands_until_torque_is_known() -> None:
    """The first lines are no torque yet: "keep cranking" was said for a quarter of a second before it was known."""
    going = Guarded(CASE["usual"], 0.97)
    going.take(going.wind.plug(False))
    going.go_on(1.2)
    going.take(going.wind.plug(True))
    unknown = 0
    for _ in range(40):
        going.go_on(0.025)
        view = going.coach.view
        if view.reading.torque_Nm is None:
            unknown += 1
            assert view.prompt is not None
            assert view.prompt.code == "stop_at_peak"
            assert [alarm.code for alarm in view.alarms] == ["meter_silent"]
    assert 0 < unknown < 20
    assert going.coach.view.reading.torque_Nm is not None
    assert "meter_silent" not in [alarm.code for alarm in going.coach.view.alarms]


def test_a_crank_sensor_that_dies_is_not_believed() -> None:
    """Torque that rose without turns was taken for a stiffer motor's, and the peak went up with it."""
    going = Guarded(CASE["usual"], 0.4)
    going.crank_dies()
    going.wind.hands.rev_per_s = 1.5
    going.go_on(18.0)
    assert going.guard.broken == []
    assert going.coach.view.reading.turns_source == "estimated"
    assert going.coach._limits.peak_Nm == pytest.approx(limits_from(going.wind.settings).peak_Nm, rel=0.03)


def test_nobody_is_sent_to_crank_without_a_meter() -> None:
    """Stretched out, and the meter falls silent: it is not yet a danger, but cranking does not begin blind."""
    going = Guarded(CASE["usual"], 0.0)
    going.wind.hands.hooked = True
    going.wind.hands.goal_m = going.wind.settings.plan.stretch_distance_m
    going.go_on(9.0)
    assert going.coach.view.prompt is not None
    assert going.coach.view.prompt.code == "start_cranking"
    going.wind.spoil = "silent"
    going.go_on(5.0)
    assert going.coach.view.prompt.code == "stretch_to"
    assert going.coach.view.phase is Phase.STRETCH_OUT
    assert going.guard.broken == []
