"""Figures and words of the screen: widths that never change, dashes for what is not known, words for every state."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.screen.views import PLAN, done, final, state, walk_in, wind
from winding_coach.coach.said import Alarm, Level, Prompt
from winding_coach.coach.view import CoachView
from winding_coach.screen.digits import width
from winding_coach.screen.figures import (
    big_word,
    clock_words,
    next_mark,
    rate_word,
    seconds_to_peak,
    signed_rate,
    torque_figure,
    torque_template,
)


def with_torque(torque_Nm: float | None, view: CoachView | None = None) -> CoachView:
    view = view or wind().view
    return replace(view, reading=replace(view.reading, torque_Nm=torque_Nm))


@given(st.floats(-0.02, 1.0), st.sampled_from(["metric", "inch"]))
def test_a_torque_is_as_wide_as_every_other(torque_Nm: float, units: str) -> None:
    view = with_torque(torque_Nm, replace(wind().view, units="inch" if units == "inch" else "metric"))
    figure, template = torque_figure(view), torque_template(view)
    assert len(figure) == len(template)
    assert width(figure.strip().lstrip("-"), 5) <= width(template[1:], 5)
    assert figure.strip() not in ("-0.00", "-0.000")


@pytest.mark.parametrize(
    ("torque_Nm", "figure"),
    [(3.514e-3, " 3.51"), (-0.02e-3, "-0.02"), (-1e-7, " 0.00"), (11.44e-3, " 11.4"), (0.2, "  200")],
)
def test_torques_are_rounded_and_decimals_give_way(torque_Nm: float, figure: str) -> None:
    assert torque_figure(with_torque(torque_Nm)) == figure


def test_what_is_not_known_or_old_is_dashes() -> None:
    assert torque_figure(with_torque(None)) == " -.--"
    old = replace(wind().view, stale=True)
    assert torque_figure(old) == " -.--"
    assert signed_rate(old).strip() == "--"
    assert rate_word(old) == "not known"
    assert seconds_to_peak(old) is None
    # A closed wind is not live, but what was noted is so for good.
    assert torque_figure(done().view) == " 3.55"


@pytest.mark.parametrize(
    ("rate", "word"),
    [(0.02e-3, "too slow"), (0.07e-3, "good"), (0.2e-3, "too fast"), (-0.1e-3, "falling"), (None, "not known")],
)
def test_the_rate_has_a_word_against_its_band(rate: float | None, word: str) -> None:
    view = wind().view  # Its band goes from 0.04 to 0.10 mN·m/s.
    assert rate_word(replace(view, reading=replace(view.reading, torque_rate_Nm_per_s=rate))) == word
    bandless = replace(view, targets=replace(view.targets, rate_low_Nm_per_s=None))
    assert rate_word(bandless) == "no target rate"


def test_rates_are_equally_wide() -> None:
    view = wind().view
    rates = [
        replace(view, reading=replace(view.reading, torque_rate_Nm_per_s=rate)) for rate in (1e-3, -1e-3, 1e-9, None)
    ]
    assert len({len(signed_rate(each)) for each in rates}) == 1
    assert signed_rate(rates[2]) == "+0.00"


def test_seconds_to_the_peak_are_what_is_left_over_the_rate() -> None:
    view = final().view  # 6.55 of 6.78 mN·m at 0.11 mN·m/s.
    assert seconds_to_peak(view) == pytest.approx(0.23 / 0.11)
    falling = replace(view, reading=replace(view.reading, torque_rate_Nm_per_s=-1e-3), slow_rate_Nm_per_s=-1e-3)
    assert seconds_to_peak(falling) is None


@pytest.mark.parametrize(
    ("code", "figures", "text", "unit"),
    [
        ("tare", {}, "WIND", ""),
        ("stretch_to", {"distance_m": 1.81}, "OUT TO 1.81", "m"),
        ("walk_in_to", {"distance_m": 1.2}, "WALK TO 1.20", "m"),
        ("walk_in_to", {}, "WALK TO", ""),
        ("hold_distance", {"distance_m": 1.2}, "HOLD 1.20", "m"),
        ("start_cranking", {"distance_m": 1.2}, "CRANK", ""),
        ("back_off", {"crank_turns": 3.3}, "BACK OFF 3.5", "crank turns"),
        ("back_off", {"crank_turns": 0.5}, "BACK OFF 0.5", "crank turn"),
        ("back_off", {"crank_turns": 1.1}, "BACK OFF 1", "crank turn"),
        ("back_off", {"crank_turns": 0.0}, "STOP", ""),
        ("back_off", {}, "BACK OFF", ""),
        ("stop_at_peak", {}, "STOP", ""),
        ("crank_slower", {}, "SLOWER", ""),
        ("crank_faster", {}, "FASTER", ""),
    ],
)
def test_each_prompt_in_block_letters(code: str, figures: dict[str, Any], text: str, unit: str) -> None:
    prompt = Prompt(1.0, code, "words", **figures)
    big = big_word(replace(wind().view, prompt=prompt))
    assert (big.text, big.unit) == (text, unit)


@pytest.mark.parametrize(
    ("code", "text"),
    [
        ("overwind", "STOP"),
        ("motor_broke", "NO TORQUE"),
        ("meter_silent", "NO DATA"),
        ("crank_stalled", "CRANK"),
        ("rising_too_fast", "SLOWER"),
        ("torque_falling", "HOLD"),
        ("zero_moved", "WALK TO 1.22"),
        ("overwind_soon", "STOP IN 5"),
    ],
)
def test_an_alarm_that_asks_for_something_comes_before_the_prompt(code: str, text: str) -> None:
    view = replace(walk_in().view, alarms=(Alarm(1.0, code, Level.WARNING, True, "words"),))
    assert big_word(view).text == text


@pytest.mark.parametrize("code", ["crank_stalled", "rising_too_fast", "torque_falling"])
def test_nothing_but_a_danger_comes_before_the_stop(code: str) -> None:
    """The word said "slower" for a moment at the peak, where the sentence said to stop."""
    view = walk_in().view
    assert view.prompt is not None
    stop = replace(view.prompt, code="stop_at_peak", distance_m=0.5)
    warned = replace(view, prompt=stop, alarms=(Alarm(1.0, code, Level.WARNING, True, "words"),))
    assert big_word(warned).text.startswith("STOP")
    silent = Alarm(1.0, "meter_silent", Level.DANGER, True, "words")
    assert big_word(replace(warned, alarms=(silent, *warned.alarms))).text == "NO DATA"


def test_the_countdown_goes_on_while_torque_rises_and_becomes_stop() -> None:
    assert big_word(final().view).text == "STOP IN 2"
    view = final().view
    held = replace(view, reading=replace(view.reading, torque_rate_Nm_per_s=0.0), slow_rate_Nm_per_s=0.0)
    assert big_word(held).text == "STOP"


def test_no_meter_and_no_data_come_before_all_else() -> None:
    assert big_word(state("waiting").view).text == "NO METER"
    assert big_word(state("silent").view).text == "NO DATA"


def test_the_next_mark_is_the_plan_s_next_nearer_one() -> None:
    assert next_mark(walk_in().view) == (1.12, 1000.0)
    assert next_mark(wind().view) == (1.62, 800.0)
    assert next_mark(final().view) is None
    past = replace(walk_in().view, reading=replace(walk_in().view.reading, turns=PLAN.walk_in[-1].turns))
    assert next_mark(past) is None
    assert next_mark(state("uncounted").view) is None


def test_the_clock_counts_minutes() -> None:
    assert [clock_words(at_s) for at_s in (0.0, 59.9, 60.0, 754.2)] == ["0:00", "0:59", "1:00", "12:34"]
