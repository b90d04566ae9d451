"""A crank sensor that dies in mid-wind: the count stands while the hand turns on. Whole simulated winds, invented."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.scenario import PLAN, SETTINGS, coached, wind
from tests.trust.winder import CASES, Guarded
from winding_coach.coach.gathering import UNCOUNTED
from winding_coach.coach.said import Alarm, Phase, Prompt, Summary
from winding_coach.coach.step import Coach
from winding_coach.coach.wanted import FEET
from winding_coach.simulator.bench import MeterModel

LONGEST_NAG_S = 8.0
"""So long a hand that turns may be told that it stands still."""


@pytest.mark.parametrize("channels", ["c", "cd"])
@pytest.mark.parametrize("dies_s", [25, 50, 80, 95])
@pytest.mark.no_cover
def test_it_is_given_up_within_seconds_and_moves_no_limit(channels: str, dies_s: int) -> None:
    """Taken for a stronger motor it raised the peak by 15 %, and "keep cranking" was said for half a minute."""
    coach = Coach(SETTINGS)
    stalled: list[tuple[float, bool]] = []
    given_up_s = None
    for event in wind("good", 3, MeterModel(channels=channels), (f"crank@{dies_s}",)):
        coach.step(event)
        stalled += [(one.at_s, one.active) for one in coach.said if isinstance(one, Alarm) and "stall" in one.code]
        if event.at_s < dies_s:
            assert coach.view.reading.turns_source in ("unknown", "counted")
        elif given_up_s is None and coach.view.reading.turns_source == "estimated":
            given_up_s = event.at_s
        prompt = coach.view.prompt
        if prompt is not None and prompt.code == "stop_at_peak" and prompt.torque_Nm is not None:
            # Once nobody counts, torque alone ends the climb a little lower, if the motor is not known by then.
            assert 0.97 * UNCOUNTED < prompt.torque_Nm / PLAN.peak_torque_Nm < 1.03
    assert given_up_s is not None
    assert given_up_s - dies_s < LONGEST_NAG_S + 1.0
    assert [active for _, active in stalled] in ([], [True, False])
    if stalled:
        assert stalled[1][0] - stalled[0][0] < LONGEST_NAG_S
    assert coach.summary is not None
    assert coach.summary.outcome == "done"
    assert coach.summary.launch_turns is None, "turns that nobody counted are not noted as turns"


@pytest.mark.parametrize("dies_s", [110, 113, 116, 118])
def test_near_the_peak_and_in_the_back_off_no_turns_are_noted_that_may_not_be_so(dies_s: int) -> None:
    """The count stood at 1240 while the motor went to 1310, and was noted for its peak and its launch."""
    _, said = coached(wind("good", 3, MeterModel(channels="c"), (f"crank@{dies_s}",)))
    (found,) = [one for one in said if isinstance(one, Summary)]
    assert found.outcome == "done"
    assert (found.peak_turns, found.launch_turns, found.backed_off_turns, found.energy_stored_J) == (None,) * 4


def test_one_pulse_and_then_none_does_not_keep_the_coach_waiting() -> None:
    """Two turns begin the winding; one was neither none nor a beginning."""
    going = Guarded(CASES[0], 0.0)
    hands = going.wind.hands
    hands.hooked, hands.goal_m = True, going.wind.settings.plan.stretch_distance_m
    going.go_on(9.0)
    hands.rev_per_s = 1.3
    while hands.state.crank_rev < 1.3:
        going.go_on(0.1)
    going.crank_dies()
    assert str(going.coach.view.phase) == "stretch_out"
    assert going.coach.view.reading.turns == 10.0
    going.go_on(40.0)
    assert going.coach.view.phase in (Phase.WIND_STRETCHED, Phase.WALK_IN)
    assert going.coach.view.reading.turns_source != "counted"


def test_a_helper_s_taps_cannot_make_up_for_what_was_missed() -> None:
    """Tapped from nothing in mid-wind they were taken for all turns, and torque for a stiffer motor's."""
    going = Guarded(CASES[0], 0.1)
    going.crank_dies()
    going.wind.hands.rev_per_s = 1.3
    for _ in range(30):
        going.go_on(1.0 / 1.3)
        going.press("count")
    assert going.guard.broken == []
    assert going.coach.view.reading.turns_source == "estimated"
    assert going.coach._limits.peak_Nm == pytest.approx(UNCOUNTED * PLAN.peak_torque_Nm, rel=0.03)


@pytest.mark.no_cover
def test_at_ten_lines_a_second_torque_alone_tells_it() -> None:
    """Too few lines for the ripple: torque that rises by more than a turn can bring is the sign."""
    meter = MeterModel(lines_per_s=10.0, channels="c")
    _, said = coached(wind("good", 3, meter, ("crank@50",)))
    (found,) = [one for one in said if isinstance(one, Summary)]
    assert found.outcome == "done"
    assert found.launch_turns is None
    stops = [one.torque_Nm for one in said if isinstance(one, Prompt) and one.code == "stop_at_peak"]
    assert stops
    assert all(torque == pytest.approx(PLAN.peak_torque_Nm, rel=0.04) for torque in stops)
    walked = [one for one in said if isinstance(one, Prompt) and one.code in FEET]
    assert {one.distance_m for one in walked} == {None}, "no mark by a count that stands: torque leads"


@pytest.mark.parametrize("style", ["good", "stall", "hasty", "late", "early"])
@pytest.mark.no_cover
def test_a_sensor_that_lives_is_kept(style: str) -> None:
    """Hands that stall, rush or rest look like a dead sensor for a moment."""
    for meter in (MeterModel(channels="cd"), MeterModel(channels="c", noise_Nm=6e-5, tremor=0.01)):
        coach, _ = coached(wind(style, 5, meter))
        assert coach.view.reading.turns_source == "counted"


@pytest.mark.parametrize("share", [0.4, 0.7, 0.9])
@pytest.mark.parametrize("channels", ["c", "cd"])
def test_who_leans_or_sways_with_a_standing_crank_keeps_the_count(share: float, channels: str) -> None:
    """A centimetre in and out again brings torque back without a turn, and swaying looks like ripple."""
    case = replace(CASES[0], name=f"usual {channels}", channels=channels)
    for sway_hz, sway_m in ((0.3, 0.02), (1.25, 0.01), (0.8, 0.03)):
        going = Guarded(case, share)
        hands = going.wind.hands
        stands_m, hands.rev_per_s = hands.state.distance_m, 0.0
        going.go_on(1.0)
        for tick in range(80):
            hands.goal_m = stands_m + sway_m * math.sin(2.0 * math.pi * sway_hz * 0.1 * tick)
            going.go_on(0.1)
        assert going.coach.view.reading.turns_source == "counted", (sway_hz, sway_m)
