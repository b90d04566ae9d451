"""Keys and taps in a whole wind: what they move on, ask for twice, take back."""

from __future__ import annotations

import pytest

from tests.coach.test_winds import WHOLE_WIND, ended
from tests.scenario import PLAN, SETTINGS, coached, wind
from winding_coach.base.inputs import KeyPressed, LinkUp
from winding_coach.coach.said import Phase
from winding_coach.coach.step import Coach
from winding_coach.simulator.bench import MeterModel


def test_keys_move_the_wind_on_and_stop_ends_it() -> None:
    coach = Coach(SETTINGS)
    coach.step(LinkUp(0.0, "p"))
    for number, phase in enumerate(WHOLE_WIND[1:-1], 1):
        coach.step(KeyPressed(float(number), "next"))
        assert coach.view.phase == phase
    assert coach.summary is None
    coach.step(KeyPressed(9.0, "stop"))
    assert ended(coach) == "stopped"
    before = coach.view
    coach.step(KeyPressed(10.0, "next"))
    assert coach.view == before
    assert coach.said == ()


def test_the_peak_key_means_back_off_only_while_winding() -> None:
    coach = Coach(SETTINGS)
    seen = []
    for at_s, key in enumerate(("peak", "next", "next", "peak")):
        coach.step(KeyPressed(float(at_s), key))
        seen.append(coach.view.phase)
    assert seen == [Phase.SET_ZERO, Phase.STRETCH_OUT, Phase.WIND_STRETCHED, Phase.BACK_OFF]


def test_taps_count_turns_where_the_meter_cannot() -> None:
    inputs = [event for event in wind("good", meter=MeterModel(channels="")) if event.at_s < 25.0]
    coach, _ = coached(inputs)
    assert coach.view.phase is Phase.WIND_STRETCHED
    assert coach.view.reading.turns_source == "estimated"
    assert coach.view.reading.turns_left is None, "nothing is worked out from an estimate"
    for number in range(12):
        coach.step(KeyPressed(25.0 + number, "count"))
    assert coach.view.reading.turns == pytest.approx(120.0)
    assert str(coach.view.reading.turns_source) == "tapped"


def test_taps_that_begin_in_mid_wind_count_nothing() -> None:
    """A first tap at the peak was 10 turns on the motor, far off the label, and it raised the target."""
    inputs = [event for event in wind("good", meter=MeterModel(channels="")) if event.at_s < 60.0]
    coach, _ = coached(inputs)
    peak_Nm = coach.limits.peak_Nm
    assert peak_Nm < PLAN.peak_torque_Nm
    for number in range(12):
        coach.step(KeyPressed(60.0 + 0.01 * number, "count"))
    assert str(coach.view.reading.turns_source) == "estimated"
    assert coach.limits.peak_Nm == peak_Nm


def test_a_bumped_key_asks_and_one_back_returns() -> None:
    """Enter while winding at full stretch with torque far below: nothing jumps; meant, it does, and `back` takes it
    back to where it came from."""
    coach, _ = coached([event for event in wind("good") if event.at_s < 30.0])
    assert str(coach.view.phase) == "wind_stretched"
    coach.step(KeyPressed(30.0, "next"))
    assert str(coach.view.phase) == "wind_stretched"
    assert "key_asked" in [alarm.code for alarm in coach.view.alarms]
    coach.step(KeyPressed(37.0, "next"))
    assert str(coach.view.phase) == "wind_stretched", "too late to be the second press"
    coach, _ = coached([event for event in wind("good") if event.at_s < 30.0])
    for at_s in (30.0, 30.4):
        coach.step(KeyPressed(at_s, "peak"))
    assert str(coach.view.phase) == "ready", "pressed twice it is meant; torque is below launch, so off goes nothing"
    assert "key_asked" not in [alarm.code for alarm in coach.view.alarms]
    coach.step(KeyPressed(30.8, "back"))
    assert str(coach.view.phase) == "wind_stretched"


@pytest.mark.parametrize("key", ["peak", "stop"])
def test_the_end_of_a_loaded_wind_is_asked_for_twice(key: str) -> None:
    coach, _ = coached([event for event in wind("good") if event.at_s < 60.0])
    before = coach.view.phase
    coach.step(KeyPressed(60.0, key))
    assert coach.view.phase is before
    assert coach.summary is None
