"""Whole simulated winds through the coach: what each style of winding must and must not make it say."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from tests.scenario import PLAN, SETTINGS, WINDER, coached, wind
from winding_coach.base.inputs import BytesArrived, Ended, KeyPressed, LinkDown, LinkUp, TimePassed
from winding_coach.coach.said import Alarm, Level, Phase, PhaseSaid, Prompt, Said, Summary
from winding_coach.coach.step import Coach
from winding_coach.coach.wanted import FEET
from winding_coach.meter.calibration import SIMULATED
from winding_coach.rubber.figures import WinderFigures
from winding_coach.simulator.bench import MeterModel
from winding_coach.simulator.hands import Style

WHOLE_WIND = ["hook_up", "stretch_out", "wind_stretched", "walk_in", "final_turns", "back_off", "ready", "done"]


def phases(said: list[Said]) -> list[str]:
    return [str(one.phase) for one in said if isinstance(one, PhaseSaid)]


def alarms(said: list[Said]) -> list[str]:
    return [one.code for one in said if isinstance(one, Alarm) and one.active]


def prompts(said: list[Said]) -> list[Prompt]:
    return [one for one in said if isinstance(one, Prompt)]


def summary(said: list[Said]) -> Summary:
    (one,) = [one for one in said if isinstance(one, Summary)]
    return one


def ended(coach: Coach) -> str | None:
    return None if coach.summary is None else coach.summary.outcome


BY_MARKS = replace(SETTINGS, led_by_torque=False)
"""The walk-in from mark to mark, kept to compare with."""


def test_a_good_wind_goes_through_every_phase_and_ends_done() -> None:
    _, said = coached(wind("good"))
    assert phases(said) == WHOLE_WIND
    found = summary(said)
    assert found.outcome == "done"
    assert found.peak_torque_Nm == pytest.approx(PLAN.peak_torque_Nm, rel=0.06)
    assert found.peak_turns == pytest.approx(PLAN.target_turns, rel=0.03)
    assert found.launch_torque_Nm == pytest.approx(PLAN.launch_torque_Nm, rel=0.08)
    assert found.backed_off_turns == pytest.approx(PLAN.back_off_turns, abs=1.5 * WINDER.ratio)
    assert found.stalls == 0
    assert found.time_in_rate_band is not None
    assert found.time_in_rate_band > 0.75
    assert found.energy_stored_J == pytest.approx(PLAN.energy_stored_J, rel=0.1)


def test_a_good_wind_is_not_nagged() -> None:
    _, said = coached(wind("good"))
    assert alarms(said) == ["overwind_soon"], "one countdown; no danger though the hands overshoot by a turn"
    paced = prompts(said)
    assert 10 < len(paced) < 60
    for before, after in pairwise(paced):
        again = before.code in FEET and after.at_s - before.at_s >= 2.0
        assert again or (before.code, before.text) != (after.code, after.text), "nothing is said twice running"


def test_the_walk_in_is_prompted_down_to_the_hooks_in_order() -> None:
    _, said = coached(wind("good"), BY_MARKS)
    marks = [one.distance_m for one in prompts(said) if one.code == "walk_in_to"]
    known = [mark for mark in marks if mark is not None]
    assert len(known) == len(marks) > 4
    assert known == sorted(known, reverse=True)
    assert known[0] < PLAN.stretch_distance_m
    assert known[-1] < PLAN.walk_in[-1].distance_m + 0.35


def test_stalls_in_the_walk_in_are_said_and_summed() -> None:
    _, said = coached(wind("stall"))
    assert alarms(said).count("crank_stalled") >= 3
    assert "keep_cranking" in [one.code for one in prompts(said)]
    assert summary(said).stalls == alarms(said).count("crank_stalled")
    assert summary(said).stalled_s > 4.0


def test_walking_in_too_fast_is_said() -> None:
    _, said = coached(wind("hasty"))
    assert [one.code for one in prompts(said)].count("wait_here") >= 2
    assert "torque_falling" not in alarms(said), "the word to wait came long before"
    _, said = coached(wind("hasty"), BY_MARKS)
    assert alarms(said).count("torque_falling") >= 2
    assert "hold_distance" in [one.code for one in prompts(said)]


def test_overwinding_is_said_before_it_breaks_and_the_break_when_it_comes() -> None:
    cranked = wind("overwind")
    coach, said = coached((*cranked, KeyPressed(cranked[-1].at_s + 0.1, "broke")))
    order = alarms(said)
    assert order.index("overwind_soon") < order.index("overwind") < order.index("motor_broke")
    over = next(one for one in said if isinstance(one, Alarm) and one.code == "overwind" and one.active)
    broke = next(one for one in said if isinstance(one, Alarm) and one.code == "motor_broke" and one.active)
    assert broke.at_s - over.at_s > 5.0, "there was time to stop"
    assert summary(said).outcome == "broken"
    assert phases(said)[-1] == "broken"
    marks = coach.view.alarm_starts
    assert [at_s for at_s, _, _ in marks] == [one.at_s for one in said if isinstance(one, Alarm) and one.active]


@pytest.mark.no_cover
@pytest.mark.parametrize("lines_per_s", [10.0, 320.0])
def test_other_rates_of_lines_are_coached_to_the_end(lines_per_s: float) -> None:
    _, said = coached(wind("good", meter=MeterModel(lines_per_s=lines_per_s)))
    assert phases(said) == WHOLE_WIND
    assert "motor_broke" not in alarms(said)


def test_without_a_crank_sensor_turns_are_not_made_up() -> None:
    coach, said = coached(wind("good", meter=MeterModel(channels="")))
    assert phases(said) == WHOLE_WIND
    assert coach.limits.peak_Nm == pytest.approx(0.97 * PLAN.peak_torque_Nm), "a soft motor would be wound too far"
    found = summary(said)
    assert found.peak_turns is None
    assert found.launch_turns is None
    assert found.energy_stored_J is None
    assert "torque" in prompts(said)[-1].text.lower() or "launch" in prompts(said)[-1].text


def test_a_two_sensor_crank_counts_down_in_the_back_off() -> None:
    _, said = coached(wind("good", meter=MeterModel(channels="q")))
    found = summary(said)
    assert found.backed_off_turns == pytest.approx(PLAN.back_off_turns, abs=1.5 * WINDER.ratio)


@pytest.mark.parametrize("channels", ["c", "q"])
def test_four_pulses_a_turn_make_the_turns_of_one(channels: str) -> None:
    """The hands' script is the same: the peak is the same to the quarter of a crank turn that the count knows."""
    one, four = (
        summary(coached(wind("good", meter=MeterModel(channels=channels, pulses_per_turn=ppr)))[1]) for ppr in (1, 4)
    )
    assert four.outcome == "done"
    assert one.peak_turns is not None
    assert four.peak_turns is not None
    assert four.peak_turns == pytest.approx(one.peak_turns, abs=1.01 * WINDER.ratio)
    assert four.peak_turns % (0.25 * WINDER.ratio) == pytest.approx(0.0, abs=1e-6)
    assert four.backed_off_turns == pytest.approx(PLAN.back_off_turns, abs=1.5 * WINDER.ratio)


def test_a_distance_sensor_decides_when_the_walk_in_is_over() -> None:
    coach = Coach(SETTINGS)
    seen: list[tuple[Phase, float | None]] = []
    for event in wind("good", meter=MeterModel(channels="cd")):
        coach.step(event)
        seen.append((coach.view.phase, coach.view.reading.distance_m))
    first = next(distance for phase, distance in seen if phase is Phase.FINAL_TURNS)
    assert first is not None
    assert first <= 1.03 * PLAN.walk_in[-1].distance_m + 0.021


def test_a_reset_meter_costs_neither_torque_nor_phase() -> None:
    _, said = coached(wind("good", faults=("reset@40",)))
    assert phases(said) == WHOLE_WIND
    assert "motor_broke" not in alarms(said)
    assert summary(said).peak_torque_Nm == pytest.approx(PLAN.peak_torque_Nm, rel=0.06)


def test_silence_is_an_alarm_and_a_stale_figure_is_not_shown() -> None:
    inputs = [event for event in wind("good") if event.at_s < 50.0]
    coach, _ = coached([*inputs, TimePassed(50.4), TimePassed(51.0)])
    assert coach.view.stale
    assert coach.view.reading.torque_Nm is None
    coach.step(TimePassed(52.5))
    assert [alarm.code for alarm in coach.view.alarms] == ["meter_silent"]
    assert coach.view.link.state == "silent"
    resumed = [event for event in wind("good") if event.at_s > 53.0]
    coach.step(resumed[0])
    coach.step(resumed[1])
    for event in resumed[2:80]:
        coach.step(event)
    assert coach.view.alarms == ()
    assert coach.view.link.state == "up"
    assert not coach.view.stale


def test_a_lost_link_in_a_wound_motor_is_a_danger_and_ends_as_lost() -> None:
    inputs = [event for event in wind("good") if event.at_s < 60.0]
    coach, said = coached([*inputs, LinkDown(60.1, "the meter was unplugged"), Ended(61.0)])
    assert "meter_silent" in alarms(said)
    assert coach.summary is not None
    assert coach.summary.outcome == "lost"


def test_the_wind_goes_on_after_the_link_came_back() -> None:
    inputs = wind("good")
    before = [event for event in inputs if event.at_s < 60.0]
    after = [event for event in inputs if event.at_s > 63.0]
    _, said = coached([*before, LinkDown(60.0, "unplugged"), LinkUp(63.0, "again"), *after])
    assert phases(said) == WHOLE_WIND


def test_a_break_that_was_a_touched_lead_is_taken_back() -> None:
    """0.4 s of zero torque: broken at first, then the phase that was."""
    inputs = list(wind("good"))
    zero = next(event for event in inputs if isinstance(event, BytesArrived) and b"$D" in event.data)
    coach = Coach(SETTINGS)
    seen: list[str] = []
    lines: list[bytes] = [zero.data] if isinstance(zero, BytesArrived) else []
    assert lines
    for event in inputs:
        shown = event
        if isinstance(event, BytesArrived) and 110.0 < event.at_s < 110.4:
            shown = BytesArrived(event.at_s, _without_torque(event.data))
        coach.step(shown)
        seen += [str(one.phase) for one in coach.said if isinstance(one, PhaseSaid)]
    i = seen.index("broken")
    assert seen[i - 1] == seen[i + 1] == "walk_in"
    assert coach.summary is not None
    assert coach.summary.outcome == "done"


def _without_torque(data: bytes) -> bytes:
    from winding_coach.meter.frames import FrameParser, Sample, encode_sample

    frames = FrameParser().feed(data)
    return b"".join(encode_sample(replace(f, raw=84_200)) for f in frames if isinstance(f, Sample))


def test_a_tare_is_refused_under_load() -> None:
    inputs = [event for event in wind("good") if event.at_s < 60.0]
    coach, _ = coached(inputs)
    zero = coach.view.zero_counts
    coach.step(KeyPressed(60.0, "tare"))
    assert coach.view.zero_counts == zero


def test_the_zero_is_taken_by_itself_and_again_by_key() -> None:
    inputs = [event for event in wind("good") if event.at_s < 3.0]
    coach, _ = coached(inputs)
    assert coach.view.tared
    assert coach.view.zero_counts == pytest.approx(SIMULATED.zero_counts + 60e-6 / SIMULATED.Nm_per_count, abs=800)
    coach.step(KeyPressed(3.0, "tare"))
    assert coach.view.tared


def test_the_winder_rating_is_watched() -> None:
    low = replace(SETTINGS, winder=WinderFigures(10.0, limit_Nm=0.8 * PLAN.peak_torque_Nm))
    _, said = coached(wind("good"), low)
    assert "winder_limit" in alarms(said)


def test_the_cells_rating_is_watched() -> None:
    small = replace(SETTINGS, calibration=replace(SIMULATED, rating_Nm=0.8 * PLAN.peak_torque_Nm))
    _, said = coached(wind("good"), small)
    assert "meter_limit" in alarms(said)


def test_another_motor_than_the_plan_s_is_noticed() -> None:
    _, said = coached(wind("good", torque_scale=1.16))
    assert "not_this_motor" in alarms(said)
    assert "far_off" not in alarms(said)


def test_a_torque_that_no_scatter_explains_stops_the_wind() -> None:
    """It was a caution that went out at the walk-in, and the peak was raised meanwhile."""
    coach, said = coached(wind("good", torque_scale=1.6))
    found = next(one for one in said if isinstance(one, Alarm) and one.code == "far_off")
    assert found.level is Level.DANGER
    after = [one.code for one in prompts(said) if one.at_s > found.at_s]
    assert not {"keep_cranking", "walk_in_to", "crank_faster", "crank_slower"} & set(after)
    assert coach.limits.peak_Nm <= 1.09 * PLAN.peak_torque_Nm


def test_a_late_start_of_the_walk_in_is_coached_to_the_end() -> None:
    _, said = coached(wind(Style(late=0.1)))
    assert phases(said) == WHOLE_WIND


def test_a_zero_that_drifts_is_said_and_taken_again() -> None:
    """After the tare the readings drift by 6 % of the peak within a minute: cleared by another tare."""
    coach, _ = coached([event for event in wind("good") if event.at_s < 3.5])
    zero = coach.view.zero_counts or 0.0
    shift = 0.06 * PLAN.peak_torque_Nm / SIMULATED.Nm_per_count
    for number in range(4800):
        _hear(coach, number, zero + shift * number / 4800)
    assert [alarm.code for alarm in coach.view.alarms] == ["zero_moved"]
    coach.step(KeyPressed(coach.view.at_s, "tare"))
    assert abs((coach.view.zero_counts or 0.0) - zero - shift) < 0.1 * shift
    for number in range(4800, 5200):
        _hear(coach, number, zero + shift)
    assert coach.view.alarms == ()


def test_a_zero_is_not_taken_where_the_reading_jumped() -> None:
    """A weight or a wound motor was taken for a zero, and the motor cranked to twice its peak or the break."""
    coach, _ = coached([event for event in wind("good") if event.at_s < 3.5])
    zero = coach.view.zero_counts or 0.0
    shift = 0.06 * PLAN.peak_torque_Nm / SIMULATED.Nm_per_count
    for number in range(400):
        _hear(coach, number, zero + shift)
    coach.step(KeyPressed(coach.view.at_s, "tare"))
    assert coach.view.zero_counts == zero
    assert "zero_refused" in [alarm.code for alarm in coach.view.alarms]
    for number in range(400, 800):
        _hear(coach, number, zero)
    assert coach.view.alarms == ()


def _hear(coach: Coach, number: int, counts: float) -> None:
    """One line 80 times a second, with some noise in its last digits."""
    at_s = 3.5 + number * 0.0125
    raw = round(counts) + (number * 7919) % 13 - 6
    coach.step(BytesArrived(at_s, _line(300 + number, at_s, raw)))


def _line(seq: int, at_s: float, raw: int) -> bytes:
    from winding_coach.meter.frames import Sample, encode_sample

    return encode_sample(Sample(seq, round(at_s * 1e6), raw, 0, 0))


def test_a_port_that_speaks_something_else_is_told_from_a_silent_one() -> None:
    coach = Coach(SETTINGS)
    coach.step(LinkUp(0.0, "p"))
    for tenth in range(1, 25):
        coach.step(BytesArrived(tenth / 10, b"$GPGGA,123519,4807.038,N,01131.000,E*47\r\n"))
    assert coach.view.link.state == "silent"
    assert "another device" in str(coach.view.link.reason)
    assert coach.view.reading.torque_Nm is None


def test_a_zero_that_nothing_was_read_for_is_not_taken() -> None:
    coach = Coach(SETTINGS)
    coach.step(LinkUp(0.0, "p"))
    coach.step(KeyPressed(1.0, "tare"))
    assert not coach.view.tared
    coach.step(KeyPressed(2.0, "peak"))
    assert coach.view.phase is Phase.SET_ZERO
