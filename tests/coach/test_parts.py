"""The coach's parts one by one: pacing of prompts, marks of the walk-in, turns, stillness, the band, words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.coach.test_alarms import CALM, LIMITS
from tests.coach.test_prompts import PATH, scene
from tests.scenario import PLAN
from winding_coach.coach.band import RateBand
from winding_coach.coach.curve import MOST_POINTS, Curve
from winding_coach.coach.live import LiveScale
from winding_coach.coach.look import risk_at_peak
from winding_coach.coach.pacer import Pacer
from winding_coach.coach.phases import (
    BY_SIGNAL,
    LOADED,
    OVER,
    SignalSteps,
    all_but_there,
    arrives,
    leaves_again,
    next_by_key,
)
from winding_coach.coach.prompts import wanted
from winding_coach.coach.said import LinkSaid, Phase, Prompt, ReadingSaid
from winding_coach.coach.wanted import Wanted
from winding_coach.coach.watching import MotorTurns, Stillness, ZeroTaker


def test_a_fall_of_torque_is_a_step_until_it_stays_down() -> None:
    steps = SignalSteps()
    fell = replace(CALM, phase=Phase.FINAL_TURNS, phase_top_Nm=LIMITS.peak_Nm, torque_Nm=0.7 * LIMITS.peak_Nm)
    assert steps.next(replace(fell, lies_s=1.9), LIMITS) is None, "it may still come back"
    assert steps.next(replace(fell, lies_s=2.1), LIMITS) is Phase.BACK_OFF
    assert steps.next(replace(fell, lies_s=2.1, torque_Nm=None), LIMITS) is None
    walk = replace(fell, phase=Phase.WALK_IN, led=True, cranking=False)
    assert steps.next(replace(walk, lies_s=7.5, waits_s=6.0), LIMITS) is None, "they may not have heard to wait yet"
    assert steps.next(replace(walk, lies_s=7.5, waits_s=7.5, cranking=True), LIMITS) is None
    assert steps.next(replace(walk, lies_s=7.5, waits_s=7.5, distance_m=1.0), LIMITS) is None, "seen far out"
    blind = replace(walk, lies_s=7.5, waits_s=7.5, counted=False, turns=None)
    assert steps.next(blind, LIMITS) is None, "a deaf walker goes on; nothing counts the crank"
    assert steps.next(replace(blind, still_s=8.5), LIMITS) is Phase.BACK_OFF
    assert steps.next(replace(walk, lies_s=7.5, waits_s=7.5), LIMITS) is Phase.BACK_OFF


def test_a_crank_that_stands_while_torque_is_far_down_has_ended() -> None:
    """Somebody who stopped far out and went to the hooks was told to keep cranking through the whole back-off."""
    low = replace(CALM, phase=Phase.WALK_IN, led=True, cranking=False, phase_top_Nm=0.8 * LIMITS.peak_Nm)
    low = replace(low, torque_Nm=0.5 * LIMITS.peak_Nm)
    steps = SignalSteps()
    assert steps.next(replace(low, at_s=1.0), LIMITS) is None
    assert steps.next(replace(low, at_s=4.0, cranking=True), LIMITS) is None, "a rest"
    assert steps.next(replace(low, at_s=5.0), LIMITS) is None
    assert steps.next(replace(low, at_s=11.5), LIMITS) is Phase.BACK_OFF
    for other in (
        replace(low, phase_top_Nm=0.96 * LIMITS.peak_Nm),  # told to stop and step in
        replace(low, torque_Nm=0.75 * LIMITS.peak_Nm),
        replace(low, distance_m=1.0),
        replace(low, counted=False),
        replace(low, arriving=True),
    ):
        steps = SignalSteps()
        assert [steps.next(replace(other, at_s=at_s), LIMITS) for at_s in (1.0, 9.0)] == [None, None]


def test_two_sensors_show_a_back_off_at_once_and_cranking_on_takes_it_back() -> None:
    steps = SignalSteps()
    walk = replace(CALM, phase=Phase.WALK_IN, taken_off=8.0)
    assert steps.next(walk, LIMITS) is None
    assert steps.next(replace(walk, taken_off=9.5), LIMITS) is Phase.BACK_OFF
    back = replace(CALM, phase=Phase.BACK_OFF, torque_Nm=0.8 * LIMITS.peak_Nm, phase_low_Nm=0.65 * LIMITS.peak_Nm)
    assert steps.next(replace(back, rises_s=1.0), LIMITS) is None
    assert steps.next(replace(back, rises_s=2.0), LIMITS) is None
    assert steps.next(replace(back, rises_s=2.6, at_s=0.6), LIMITS) is Phase.FINAL_TURNS


def test_the_table_leads_from_every_loaded_phase_to_broken_but_ready() -> None:
    assert {step.at for step in BY_SIGNAL if step.to is Phase.BROKEN} == LOADED - {Phase.READY}


@pytest.mark.parametrize("phase", list(Phase))
def test_keys_move_on_or_do_nothing(phase: Phase) -> None:
    assert next_by_key(phase, "count") is None
    over = phase in (Phase.DONE, Phase.STOPPED, Phase.BROKEN, Phase.EMPTY, Phase.LET_DOWN)
    assert (next_by_key(phase, "next") is None) == over
    assert (next_by_key(phase, "stop") is None) == (phase in OVER | {Phase.BROKEN})
    there = next_by_key(phase, "next")
    if there not in (None, Phase.DONE):
        assert next_by_key(there, "back") is phase, "what a key moved on, a key takes back"


def test_a_step_that_was_taken_back_is_not_taken_again_at_once() -> None:
    """Back from the walk-in with the torque of full stretch on: the signal moved on in the same moment."""
    steps = SignalSteps()
    wound = replace(CALM, phase=Phase.WIND_STRETCHED, torque_Nm=1.01 * LIMITS.stretched_Nm)
    assert steps.next(wound, LIMITS) is Phase.WALK_IN
    steps.hold(Phase.WALK_IN, 8.0)
    assert steps.next(replace(wound, at_s=7.9), LIMITS) is None
    assert steps.next(replace(wound, at_s=8.1), LIMITS) is Phase.WALK_IN


def test_walking_in_early_is_seen_by_falling_torque_and_by_distance() -> None:
    steps = SignalSteps()
    early = replace(CALM, phase=Phase.WIND_STRETCHED, turns=0.8 * LIMITS.stretched_turns, torque_Nm=2.5e-3)
    assert steps.next(replace(early, phase_top_Nm=3.5e-3), LIMITS) is Phase.WALK_IN
    assert steps.next(replace(early, phase_top_Nm=3.5e-3, cranking=None), LIMITS) is None
    assert steps.next(replace(early, phase_top_Nm=2.6e-3), LIMITS) is None
    stepped = replace(early, phase_top_Nm=2.6e-3, distance_m=0.9 * LIMITS.stretch_m)
    assert steps.next(stepped, LIMITS) is None, "one absurd distance is no step"
    assert steps.next(replace(stepped, at_s=0.8), LIMITS) is Phase.WALK_IN
    assert steps.next(replace(early, phase_top_Nm=2.6e-3, turns=1.2 * LIMITS.stretched_turns), LIMITS) is Phase.WALK_IN


BLIND = replace(CALM, turns=None, counted=False, in_phase_s=20.0, slow_rate_Nm_per_s=1e-5)


def test_what_nobody_measures_is_asked_for_and_not_guessed_into_a_phase() -> None:
    """Torque climbs alike at the hooks and for somebody who is slow on the way: no last turns yet, but the word is the
    hooks."""
    climbed = replace(BLIND, torque_Nm=1.06 * LIMITS.walked_in_Nm)
    assert not arrives(replace(climbed, climbs_s=14.0), LIMITS)
    assert arrives(replace(climbed, climbs_s=15.2), LIMITS)
    near = replace(BLIND, torque_Nm=0.95 * LIMITS.peak_Nm)
    assert arrives(near, LIMITS)
    assert not arrives(replace(near, distance_m=0.6), LIMITS), "a sensor shows the way that is left"
    assert not arrives(replace(near, counted=True, turns=0.8 * LIMITS.walked_in_turns), LIMITS), "turns say far out"
    steps = SignalSteps()
    there = replace(near, climbs_s=30.0, arriving=True)
    assert [steps.next(replace(there, at_s=at_s), LIMITS) for at_s in (0.0, 5.0)] == [None, None]
    choice = wanted(scene(now=replace(there, torque_Nm=0.8 * LIMITS.peak_Nm)))
    assert choice == Wanted("walk_in_to", distance_m=LIMITS.hooks_m, torque_Nm=LIMITS.peak_Nm)
    assert not leaves_again(there, LIMITS)
    assert leaves_again(replace(there, torque_Nm=0.7 * LIMITS.walked_in_Nm), LIMITS)


def test_told_to_stop_and_step_in_the_last_turns_are_where_torque_stays() -> None:
    stop = wanted(scene(now=replace(BLIND, arriving=True, torque_Nm=0.97 * LIMITS.peak_Nm, peak_in_s=0.5)))
    assert stop == Wanted("stop_at_peak", distance_m=LIMITS.hooks_m, torque_Nm=LIMITS.peak_Nm)
    assert Wanted("stop_at_peak").same_as(stop), "one stop, when the phase moves on after it"
    torque_Nm = 0.97 * LIMITS.peak_Nm
    held = replace(BLIND, arriving=True, torque_Nm=torque_Nm, phase_top_Nm=torque_Nm, still_s=2.5)
    steps = SignalSteps()
    assert [steps.next(replace(held, at_s=at_s), LIMITS) for at_s in (0.0, 1.3)] == [None, Phase.FINAL_TURNS]
    steps = SignalSteps()
    fell = replace(held, torque_Nm=0.8 * LIMITS.peak_Nm)
    assert [steps.next(replace(fell, at_s=at_s), LIMITS) for at_s in (0.0, 1.3)] == [None, None], "they stepped in"
    counted = replace(held, counted=True, turns=LIMITS.target_turns, cranking=False)
    steps = SignalSteps()
    stepping = replace(counted, torque_Nm=0.8 * LIMITS.peak_Nm, still_s=0.3)
    assert [steps.next(replace(stepping, at_s=at_s), LIMITS) for at_s in (0.0, 1.3)] == [None, None], "on their way in"
    there = replace(counted, torque_Nm=0.7 * LIMITS.peak_Nm)
    assert [steps.next(replace(there, at_s=at_s), LIMITS) for at_s in (2.0, 3.3)] == [None, Phase.FINAL_TURNS]
    turning = replace(held, counted=True, turns=LIMITS.target_turns, cranking=True)
    assert [steps.next(replace(turning, at_s=at_s), LIMITS) for at_s in (0.0, 1.3)] == [None, None]


def test_the_count_ends_the_climb_of_a_motor_whose_torque_stays_behind() -> None:
    there = replace(CALM, phase=Phase.FINAL_TURNS, torque_Nm=0.9 * LIMITS.peak_Nm, cranking=False, counted=True)
    steps = SignalSteps()
    short = replace(there, turns=0.97 * LIMITS.target_turns)
    assert [steps.next(replace(short, at_s=at_s), LIMITS) for at_s in (0.0, 1.0)] == [None, None]
    full = replace(there, turns=0.985 * LIMITS.target_turns)
    assert [steps.next(replace(full, at_s=at_s), LIMITS) for at_s in (2.0, 3.0)] == [None, Phase.BACK_OFF]


def test_a_stop_stands_until_the_hand_has_had_time_to_stop() -> None:
    """Once told to stop a hair below the target nobody is told to go on, nor to stop again."""
    pacer = Pacer("metric")
    now = replace(CALM, phase=Phase.FINAL_TURNS)
    pacer.tell(now, Wanted("stop_at_peak", torque_Nm=LIMITS.peak_Nm))
    assert [pacer.stopping(at_s, there=True) for at_s in (2.0, 5.0, 9.0)] == [True, True, False]
    assert [pacer.stopping(at_s) for at_s in (2.0, 5.0)] == [True, False]
    top = replace(BLIND, torque_Nm=0.95 * LIMITS.peak_Nm, phase_top_Nm=0.975 * LIMITS.peak_Nm)
    assert all_but_there(top, LIMITS), "torque relaxes once the hand stands"
    assert not all_but_there(replace(top, phase_top_Nm=0.95 * LIMITS.peak_Nm), LIMITS)
    counted = replace(top, torque_Nm=0.8 * LIMITS.peak_Nm, counted=True, turns=0.985 * LIMITS.target_turns)
    assert all_but_there(counted, LIMITS)


def test_one_sensor_counts_down_once_torque_falls_in_the_back_off() -> None:
    turns = MotorTurns(10.0)
    turns.count(None, signed=False, phase=Phase.WALK_IN, torque_share_of_top=1.0)
    before = turns.turns
    assert before is None
    for count in (5, 6, 7):
        turns.count(count, signed=False, phase=Phase.WALK_IN, torque_share_of_top=1.0)
    assert turns.turns == 20.0
    turns.count(8, signed=False, phase=Phase.BACK_OFF, torque_share_of_top=0.999)
    assert turns.turns == 30.0, "the last turn forwards"
    turns.count(9, signed=False, phase=Phase.BACK_OFF, torque_share_of_top=0.8)
    turns.count(10, signed=False, phase=Phase.READY, torque_share_of_top=0.999)
    assert turns.turns == 10.0, "reversed until the phase is left"
    turns.count(12, signed=False, phase=Phase.FINAL_TURNS, torque_share_of_top=0.9)
    assert turns.turns == 30.0
    turns.tap(Phase.WALK_IN)
    assert turns.source == "counted", "taps are ignored where the meter counts"
    turns.restart()
    assert turns.turns == 0.0


def test_turns_counted_while_the_hand_was_going_back_come_off_twice() -> None:
    """Backing off before the peak: the phase is seen a turn or two late, and one sensor cannot tell."""
    turns = MotorTurns(10.0)
    for count in range(21):
        turns.count(count, signed=False, phase=Phase.FINAL_TURNS, torque_share_of_top=1.0)
    assert turns.turns == 200.0
    turns.back_off(180.0, 0.999)
    assert turns.turns == 200.0, "torque is still at its top: these were forward turns"
    turns.back_off(180.0, 0.8)
    assert turns.turns == 160.0
    turns.count(21, signed=False, phase=Phase.BACK_OFF, torque_share_of_top=0.7)
    assert turns.turns == 150.0
    two = MotorTurns(10.0)
    for count in (0, 20, 18):
        two.count(count, signed=True, phase=Phase.FINAL_TURNS, torque_share_of_top=0.8)
    two.back_off(200.0, 0.8)
    assert two.turns == 180.0, "two sensors know"


def test_taps_come_off_in_the_back_off() -> None:
    turns = MotorTurns(10.0)
    for _ in range(3):
        turns.tap(Phase.WIND_STRETCHED)
    turns.tap(Phase.BACK_OFF)
    assert turns.turns == 20.0
    assert turns.source == "tapped"


def test_stillness_and_what_is_gone() -> None:
    still = Stillness(peak_Nm=10e-3, launch_Nm=5e-3)
    for tenth in range(20):
        still.add(tenth / 10, 4e-3, 4e-3)
    assert still.still_s == pytest.approx(1.9)
    assert still.gone_s == 0.0
    assert still.back_s == pytest.approx(1.9)
    still.add(2.0, 1e-4, 4e-3)
    still.add(2.5, 1e-4, 4e-3)
    assert still.still_s == pytest.approx(0.5)
    assert still.gone_s == pytest.approx(0.6)
    assert still.back_s == 0.0
    still.reset()
    assert (still.still_s, still.gone_s, still.back_s) == (0.0, 0.0, 0.0)


def test_a_zero_is_the_mean_of_the_last_second() -> None:
    taker = ZeroTaker()
    assert taker.zero() is None
    for tenth in range(30):
        taker.add(tenth / 10, 1000 if tenth < 15 else 100 + tenth % 2)
    assert taker.zero() == pytest.approx(100.5, abs=0.2)
    taker.reset()
    assert taker.zero() is None


def test_the_band_is_the_plan_s_slope_at_moderate_cranking() -> None:
    band = RateBand(LIMITS, PATH)
    assert band.at(Phase.SET_ZERO, None) == (None, None)
    low, high = band.at(Phase.WIND_STRETCHED, 300.0)
    slope = (PATH.torque_at(310.0) - PATH.torque_at(300.0)) / 10.0
    assert low is not None
    assert high is not None
    assert low < slope * 10.0 * 1.0 < high
    for phase in (Phase.WIND_STRETCHED, Phase.WALK_IN, Phase.FINAL_TURNS):
        blind_low, blind_high = band.at(phase, None)
        assert blind_low is not None
        assert blind_high is not None
        assert blind_low < blind_high
    assert band.at(Phase.FINAL_TURNS, 2 * LIMITS.target_turns) == band.at(Phase.FINAL_TURNS, None)


def test_the_rise_of_a_crank_turn_is_the_plan_s_next_turn() -> None:
    """Turn after turn it adds up to the plan's own torque, and the band a second lies about it."""
    band = RateBand(LIMITS, PATH)
    assert band.per_crank_turn(Phase.BACK_OFF, 1300.0) is None
    for phase, begin, end in (
        (Phase.WIND_STRETCHED, 100, 690),
        (Phase.WALK_IN, 700, 1140),
        (Phase.FINAL_TURNS, 1150, 1300),
    ):
        rises = [band.per_crank_turn(phase, float(turns)) or 0.0 for turns in range(begin, end, 10)]
        assert sum(rises) == pytest.approx(PATH.torque_at(end) - PATH.torque_at(begin), rel=1e-9)
        for turns, rise in zip(range(begin, end, 10), rises, strict=True):
            low, high = band.at(phase, float(turns))
            assert low is not None
            assert high is not None
            assert low < rise * 1.0 < high, "at one turn a second"


def test_the_risk_at_the_peak_is_the_plan_s_until_the_wind_shows_another() -> None:
    live = LiveScale(LIMITS, PATH)
    winding = replace(CALM, phase=Phase.WIND_STRETCHED, turns=400.0)
    as_planned = risk_at_peak(winding, LIMITS, PATH, live)
    assert as_planned == pytest.approx(PLAN.break_risk, rel=1e-3)
    assert risk_at_peak(replace(winding, turns=None), LIMITS, PATH, live) is None
    assert risk_at_peak(replace(winding, phase=Phase.BACK_OFF), LIMITS, PATH, live) is None
    capped = risk_at_peak(winding, replace(LIMITS, peak_Nm=0.9 * LIMITS.peak_Nm), PATH, live)
    assert capped is not None
    assert as_planned is not None
    assert capped < 0.5 * as_planned, "a rating that stops the wind earlier makes it safer"
    strained = replace(CALM, phase=Phase.WALK_IN, turns=1000.0, torque_Nm=0.9 * LIMITS.peak_Nm)
    assert risk_at_peak(strained, LIMITS, PATH, live) == as_planned, "out there torque does not tell the turns left"
    # Torque lags behind the plan: more turns until the peak, and more risk.
    late = replace(CALM, phase=Phase.FINAL_TURNS, turns=1280.0, torque_Nm=0.9 * LIMITS.peak_Nm)
    lagging = risk_at_peak(late, LIMITS, PATH, live)
    assert lagging is not None
    assert lagging > 1.5 * as_planned
    further = replace(late, torque_Nm=0.5 * LIMITS.peak_Nm, turns=1500.0)
    assert risk_at_peak(further, LIMITS, PATH, live) == pytest.approx(PATH.break_risk(1500.0, LIMITS.hooks_m))


def test_the_curve_is_bounded_and_keeps_its_ends_in_order() -> None:
    curve = Curve()
    for number in range(20_000):
        curve.add(number / 10, None, number * 1e-6)
    points = curve.points()
    assert MOST_POINTS / 2 <= len(points) <= MOST_POINTS
    times = [at_s for at_s, _, _ in points]
    assert times == sorted(times)
    assert times[0] < 5.0
    assert times[-1] > 1990.0


def test_json_rounds_and_writes_null_for_not_known() -> None:
    assert LinkSaid(1.0, "up").as_json() == {
        "event": "link",
        "at_s": 1.0,
        "state": "up",
        "port": None,
        "reason": None,
    }
    prompt = Prompt(1.0, "walk_in_to", "x", distance_m=1.23456, crank_turns=3.14159, torque_Nm=5.4321987e-3)
    said = prompt.as_json()
    assert (said["distance_m"], said["crank_turns"], said["torque_mNm"]) == (1.235, 3.14, 5.4322)
    assert set(Prompt(1.0, "tare", "x").as_json()) == {"event", "at_s", "code", "text"}
    reading = ReadingSaid(2.0).as_json()
    assert [key for key, value in reading.items() if value is not None] == ["event", "at_s", "turns_source"]


def test_without_a_crank_sensor_a_still_torque_is_a_still_hand() -> None:
    steps = SignalSteps()
    top = 0.98 * LIMITS.peak_Nm
    blind = replace(CALM, phase=Phase.FINAL_TURNS, cranking=None, torque_Nm=top, phase_top_Nm=top, rate_Nm_per_s=1e-7)
    assert steps.next(blind, LIMITS) is None
    assert steps.next(replace(blind, at_s=1.0), LIMITS) is Phase.BACK_OFF
    rising = replace(blind, at_s=5.0, rate_Nm_per_s=1e-4)
    assert steps.next(rising, LIMITS) is None
    assert steps.next(replace(rising, at_s=6.0), LIMITS) is None


def test_a_hand_seen_going_back_is_a_back_off_at_once() -> None:
    steps = SignalSteps()
    back = replace(CALM, phase=Phase.FINAL_TURNS, reversing=True, torque_Nm=0.8e-3, phase_top_Nm=1e-3)
    assert steps.next(back, LIMITS) is None
    assert steps.next(replace(back, at_s=0.3), LIMITS) is Phase.BACK_OFF


@pytest.mark.parametrize("distance_m", [None, LIMITS.stretch_m], ids=["nobody measures", "measured"])
def test_the_lower_target_stays_once_somebody_goes_on_in_doubt(distance_m: float | None) -> None:
    """Where nobody measures it went up again with the next reading, to 0.72 of the label's for a gain of 0.3."""
    live = LiveScale(LIMITS, PATH)

    def wound(first: float, last: float) -> None:
        for turns in range(round(first), round(last)):
            at_s = 0.1 * turns
            live.tell(at_s, Phase.WIND_STRETCHED, 0.3 * PATH.torque_at(turns), float(turns), distance_m)

    wound(0.2 * LIMITS.stretched_turns, 0.6 * LIMITS.stretched_turns)
    live.hold_low(0.3)
    held = live.scale
    wound(0.6 * LIMITS.stretched_turns, 0.9 * LIMITS.stretched_turns)
    assert held == pytest.approx(0.3, rel=0.02)
    assert live.scale == pytest.approx(0.3, rel=0.02)


def test_going_on_takes_the_lower_of_what_full_stretch_and_the_last_doubt_showed() -> None:
    live = LiveScale(LIMITS, PATH)
    for turns in range(100, 600):
        live.tell(0.1 * turns, Phase.WIND_STRETCHED, PATH.torque_at(turns), float(turns), LIMITS.stretch_m)
    live.hold_low(0.4)
    assert live.scale == pytest.approx(0.4)
