"""Both edges of every alarm, its minimum time, its priority: moments made by hand, one thing changed at a time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.scenario import SETTINGS
from winding_coach.coach.alarms import RULES, AlarmBank, Rule
from winding_coach.coach.limits import limits_from
from winding_coach.coach.moment import Moment
from winding_coach.coach.phases import SignalSteps
from winding_coach.coach.said import ALARMS, AlarmFigures, Level, Phase
from winding_coach.coach.wording import alarm_words

LIMITS = replace(limits_from(SETTINGS), winder_Nm=9e-3)
PEAK, STRETCHED = LIMITS.peak_Nm, LIMITS.stretched_Nm

CALM = Moment(
    at_s=0.0,
    phase=Phase.WALK_IN,
    in_phase_s=5.0,
    torque_Nm=STRETCHED,
    rate_Nm_per_s=0.0,
    rate_sd_Nm_per_s=0.0,
    slow_rate_Nm_per_s=0.0,
    torque_top_Nm=STRETCHED,
    phase_top_Nm=STRETCHED,
    cranking=True,
    reversing=False,
    turns=800.0,
    counted=True,
    distance_m=None,
    expected_Nm=STRETCHED,
    plan_Nm=STRETCHED,
    rate_low_Nm_per_s=-1e-4,
    rate_high_Nm_per_s=1e-4,
    per_crank_turn_Nm=5e-5,
    peak_in_s=None,
    limit_coming=False,
    broke=False,
    still_s=0.0,
    gone_s=0.0,
    silent_s=0.0,
    saturated=False,
    overloaded=False,
    tared=True,
    torque_back=False,
    crank_rev_per_s=0.8,
    pace_turns=None,
    fitted=None,
    off_path_m=None,
    stopped=False,
)
"""A moment in which nothing is wrong."""

EDGES: dict[str, tuple[dict[str, Any], dict[str, Any], dict[str, Any]]] = {
    # code: what is set throughout; what just does not light it; what does
    "motor_broke": ({}, {"broke": False}, {"broke": True}),
    "overwind": ({"phase": Phase.FINAL_TURNS}, {"torque_Nm": 1.059 * PEAK}, {"torque_Nm": 1.061 * PEAK}),
    "meter_limit": ({}, {"overloaded": False}, {"overloaded": True}),
    "winder_limit": ({"phase": Phase.BACK_OFF}, {"torque_Nm": 8.99e-3}, {"torque_Nm": 9.01e-3}),
    "meter_saturated": ({}, {"saturated": False}, {"saturated": True}),
    "meter_silent": ({}, {"silent_s": 1.99}, {"silent_s": 2.01}),
    "overwind_soon": (
        {"phase": Phase.FINAL_TURNS, "turns": 0.97 * LIMITS.target_turns},
        {"torque_Nm": 0.93 * PEAK, "peak_in_s": 6.1},
        {"torque_Nm": 0.93 * PEAK, "peak_in_s": 5.9},
    ),
    "crank_stalled": ({}, {"cranking": None}, {"cranking": False}),
    "rising_too_fast": (
        {"phase": Phase.FINAL_TURNS},
        {"rate_Nm_per_s": 1.34e-4},
        {"rate_Nm_per_s": 1.36e-4},
    ),
    "torque_falling": ({}, {"torque_Nm": 0.71 * STRETCHED}, {"torque_Nm": 0.69 * STRETCHED}),
    "not_this_motor": (
        {"phase": Phase.WIND_STRETCHED, "turns": 500.0},
        {"fitted": 1.10},
        {"fitted": 1.12},
    ),
    "zero_moved": (
        {"phase": Phase.STRETCH_OUT, "cranking": None, "still_s": 2.0, "torque_Nm": 0.0},
        {"torque_Nm": 0.029 * PEAK},
        {"torque_Nm": -0.031 * PEAK},
    ),
    "meter_frozen": ({}, {"frozen": False}, {"frozen": True}),
    "other_meter": ({}, {"another": False}, {"another": True, "board": "other"}),
    "far_off": (
        {"phase": Phase.WIND_STRETCHED},
        {"doubts": ("gain",), "of_plan": 0.5, "going_on": True},
        {"doubts": ("gain",), "of_plan": 0.5},
    ),
    "going_on": ({}, {"doubts": ("gain",)}, {"doubts": ("gain",), "of_plan": 0.5, "going_on": True}),
    "turns_in": (
        {"phase": Phase.STRETCH_OUT},
        {"turns_in": 100.0},
        {"turns_in": 100.0, "turns_in_noticed": True},
    ),
    "key_asked": ({}, {"asks": False}, {"asks": True}),
    "zero_refused": ({"phase": Phase.SET_ZERO}, {"zero_refused_Nm": None}, {"zero_refused_Nm": 2e-3}),
    "other_way": ({}, {"left_hand": False}, {"left_hand": True}),
    "distance_lost": ({}, {"distance_lost": False}, {"distance_lost": True}),
}


def bank(rules: tuple[Rule, ...] = RULES) -> AlarmBank:
    return AlarmBank(lambda code, figures: alarm_words(code, figures, "metric"), rules)


def held(alarms: AlarmBank, moment: Moment, from_s: float, seconds: float) -> list[tuple[str, bool]]:
    """Tell the same moment ten times a second; return what changed."""
    changed = []
    for tenth in range(round(10 * seconds) + 1):
        now = replace(moment, at_s=round(from_s + tenth / 10, 3))
        changed += [(alarm.code, alarm.active) for alarm in alarms.tell(now, LIMITS)]
    return changed


def test_there_is_a_rule_and_edges_for_every_code() -> None:
    assert {rule.code for rule in RULES} == set(ALARMS) == set(EDGES)


@pytest.mark.parametrize("code", ALARMS)
def test_the_edge_that_lights_it(code: str) -> None:
    base, below, above = EDGES[code]
    calm = replace(CALM, **base)
    assert held(bank(), calm, 0.0, 5.0) == []
    assert (code, True) not in held(bank(), replace(calm, **below), 0.0, 5.0)
    assert (code, True) in held(bank(), replace(calm, **above), 0.0, 5.0)


@pytest.mark.parametrize("code", ALARMS)
def test_the_edge_that_puts_it_out_and_the_least_time(code: str) -> None:
    base, _, above = EDGES[code]
    calm = replace(CALM, **base)
    rule = next(rule for rule in RULES if rule.code == code and calm.phase in rule.phases)
    alarms = bank()
    held(alarms, replace(calm, **above), 0.0, 5.0)
    (lit,) = [alarm for alarm in alarms.on if alarm.code == code]
    assert lit.active
    clear = replace(calm, torque_back=True)
    early = held(alarms, replace(clear, at_s=lit.at_s), lit.at_s, max(rule.least_s - 0.2, 0.0))
    if rule.least_s > 0.2:
        assert (code, False) not in early, "on for its least time"
    assert (code, False) in [*early, *held(alarms, clear, 6.0, 5.0)]
    assert code not in [alarm.code for alarm in alarms.on]


@pytest.mark.parametrize(
    ("code", "base", "on", "still_on"),
    [
        ("overwind", {"phase": Phase.FINAL_TURNS}, {"torque_Nm": 1.03 * PEAK}, {"torque_Nm": 0.995 * PEAK}),
        ("winder_limit", {"phase": Phase.BACK_OFF}, {"torque_Nm": 9.1e-3}, {"torque_Nm": 8.8e-3}),
        ("rising_too_fast", {"phase": Phase.FINAL_TURNS}, {"rate_Nm_per_s": 2e-4}, {"rate_Nm_per_s": 1.1e-4}),
        ("torque_falling", {}, {"torque_Nm": 0.6 * STRETCHED}, {"torque_Nm": 0.75 * STRETCHED}),
        ("crank_stalled", {}, {"cranking": False}, {"cranking": None}),
    ],
)
def test_hysteresis_keeps_it_on_between_the_edges(
    code: str, base: dict[str, Any], on: dict[str, Any], still_on: dict[str, Any]
) -> None:
    alarms = bank()
    held(alarms, replace(CALM, **base, **on), 0.0, 5.0)
    assert (code, False) not in held(alarms, replace(CALM, **base, **still_on), 5.0, 10.0)


def test_a_short_excursion_does_not_light_what_must_hold() -> None:
    alarms = bank()
    fast = replace(CALM, phase=Phase.FINAL_TURNS, rate_Nm_per_s=5e-4)
    assert held(alarms, fast, 0.0, 0.3) == []
    held(alarms, replace(CALM, phase=Phase.FINAL_TURNS), 0.4, 0.1)
    assert held(alarms, fast, 0.6, 0.3) == []


def test_turns_are_the_cross_check_only_when_they_are_counted() -> None:
    past = 0.5 * (LIMITS.target_turns + LIMITS.breaking_turns) + 1
    wound = replace(CALM, phase=Phase.FINAL_TURNS, turns=past)
    assert ("overwind", True) in held(bank(), wound, 0.0, 1.0)
    assert held(bank(), replace(wound, counted=False), 0.0, 1.0) == []
    still = bank()
    held(still, wound, 0.0, 1.0)
    assert ("overwind", False) not in held(still, replace(wound, torque_Nm=0.5 * PEAK), 1.0, 5.0)


def test_in_the_walk_in_rising_is_too_fast_only_above_the_plan() -> None:
    rising = replace(CALM, rate_Nm_per_s=5e-4)
    assert held(bank(), rising, 0.0, 3.0) == []
    assert ("rising_too_fast", True) in held(bank(), replace(rising, torque_Nm=1.2 * STRETCHED), 0.0, 3.0)
    unknown = replace(rising, torque_Nm=1.2 * STRETCHED, expected_Nm=None)
    assert ("rising_too_fast", True) in held(bank(), unknown, 0.0, 3.0)


def test_an_uncertain_rate_lights_nothing() -> None:
    unsure = replace(CALM, phase=Phase.FINAL_TURNS, rate_Nm_per_s=2e-4, rate_sd_Nm_per_s=1e-4)
    assert held(bank(), unsure, 0.0, 3.0) == []


def test_what_is_not_known_lights_nothing() -> None:
    for phase in Phase:
        dark = replace(
            CALM,
            phase=phase,
            torque_Nm=None,
            rate_Nm_per_s=None,
            rate_sd_Nm_per_s=None,
            slow_rate_Nm_per_s=None,
            cranking=None,
            turns=None,
            counted=False,
            expected_Nm=None,
            plan_Nm=None,
            rate_low_Nm_per_s=None,
            rate_high_Nm_per_s=None,
        )
        assert held(bank(), dark, 0.0, 5.0) == []


def test_a_phase_puts_out_what_does_not_belong_to_it_at_once() -> None:
    alarms = bank()
    held(alarms, replace(CALM, cranking=False), 0.0, 0.3)
    assert held(alarms, replace(CALM, cranking=False, phase=Phase.FINAL_TURNS), 0.4, 0.0) == [("crank_stalled", False)]


def test_the_one_that_matters_most_comes_first() -> None:
    alarms = bank()
    both = replace(CALM, phase=Phase.FINAL_TURNS, torque_Nm=1.5 * PEAK, broke=True, overloaded=True, peak_in_s=0.0)
    both = replace(both, turns=LIMITS.target_turns)
    held(alarms, both, 0.0, 2.0)
    order = [alarm.code for alarm in alarms.on]
    assert order == ["motor_broke", "overwind", "meter_limit", "winder_limit", "overwind_soon"]
    levels = [alarm.level for alarm in alarms.on]
    assert levels == sorted(levels, key=[Level.DANGER, Level.WARNING, Level.CAUTION].index)


def test_silence_is_a_danger_only_under_load() -> None:
    silent = replace(CALM, silent_s=3.0)
    loaded, waiting = bank(), bank()
    held(loaded, silent, 0.0, 0.1)
    held(waiting, replace(silent, phase=Phase.SET_ZERO, torque_Nm=None), 0.0, 0.1)
    assert loaded.on[0].level is Level.DANGER
    assert waiting.on[0].level is Level.CAUTION


@pytest.mark.parametrize("units", ["metric", "inch"])
def test_every_sentence_is_short_and_whole(units: Any) -> None:
    for code in ALARMS:
        for figures in (AlarmFigures(), AlarmFigures(5e-3, PEAK, 1.12, 1.2), AlarmFigures(5e-3, PEAK, 0.8)):
            text = alarm_words(code, figures, units)
            assert text.endswith((".", "?"))
            assert "{" not in text
            assert len(text) <= 80


@pytest.mark.parametrize(("code", "field"), [("meter_saturated", "saturated"), ("meter_limit", "overloaded")])
def test_a_saturation_that_ends_is_a_danger_until_torque_is_known(code: str, field: str) -> None:
    """Between the last line at the end of the range and the first torque nobody was told to stop."""
    bank = AlarmBank(lambda code, figures: code)
    blind = replace(CALM, phase=Phase.FINAL_TURNS, torque_Nm=None, silent_s=0.0)

    def on(now: Moment, at_s: float) -> bool:
        bank.tell(replace(now, at_s=at_s), LIMITS)
        return code in [alarm.code for alarm in bank.on]

    assert on(replace(blind, **{field: True}), 1.0)  # type: ignore[arg-type]
    assert on(blind, 5.0), "the first lines are no torque yet"
    assert not on(replace(blind, torque_Nm=0.5 * LIMITS.peak_Nm), 5.4)


def test_a_zero_that_moved_is_seen_on_the_empty_hook_before_the_wind_is_over() -> None:
    """The smoothing still swings there: the mean of the last moment counts."""
    off = replace(
        CALM, phase=Phase.READY, cranking=None, still_s=1.5, gone_s=1.6, torque_Nm=-0.4 * PEAK, mean_Nm=-0.3 * PEAK
    )
    bank, steps = AlarmBank(lambda code, figures: f"{code} {figures.torque_Nm}"), SignalSteps()
    said = []
    for tenth in range(30):
        now = replace(off, at_s=0.1 * tenth, gone_s=1.6 + 0.1 * tenth)
        said += [alarm.text for alarm in bank.tell(now, LIMITS) if alarm.code == "zero_moved"]
        if steps.next(now, LIMITS) is Phase.DONE:
            break
    assert said == [f"zero_moved {-0.3 * PEAK}"]
    fine = replace(off, torque_Nm=-0.2 * PEAK, mean_Nm=0.001 * PEAK, gone_s=1.0)
    assert SignalSteps().next(fine, LIMITS) is Phase.DONE
