"""A crank sensor that dies in mid-wind: the count stands while the hand turns on. Whole simulated winds, invented."""

from __future__ import annotations

import pytest

from tests.scenario import PLAN, SETTINGS, coached, wind
from winding_coach.coach.said import Alarm, Prompt, Summary
from winding_coach.coach.step import Coach
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
            assert prompt.torque_Nm == pytest.approx(PLAN.peak_torque_Nm, rel=0.03)
    assert given_up_s is not None
    assert given_up_s - dies_s < LONGEST_NAG_S + 1.0
    assert [active for _, active in stalled] in ([], [True, False])
    if stalled:
        assert stalled[1][0] - stalled[0][0] < LONGEST_NAG_S
    assert coach.summary is not None
    assert coach.summary.outcome == "done"
    assert coach.summary.launch_turns is None, "turns that nobody counted are not noted as turns"


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


@pytest.mark.parametrize("style", ["good", "stall", "hasty", "late", "early"])
@pytest.mark.no_cover
def test_a_sensor_that_lives_is_kept(style: str) -> None:
    """Hands that stall, rush or rest look like a dead sensor for a moment."""
    for meter in (MeterModel(channels="cd"), MeterModel(channels="c", noise_Nm=6e-5, tremor=0.01)):
        coach, _ = coached(wind(style, 5, meter))
        assert coach.view.reading.turns_source == "counted"
