"""The online path: ripple out, rate right, gaps, clocks, counts and taps."""

import math
from dataclasses import fields
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from winding_coach.signals.estimator import Estimator
from winding_coach.signals.reading import CrankState, Reading

SCALE = 0.013


def torque(t_s: float, crank_hz: float = 1.25, rate: float = 1e-4) -> float:
    return (0.006 + rate * t_s) * (1 + 0.04 * math.sin(2 * math.pi * crank_hz * t_s))


def feed(
    estimator: Estimator,
    until_s: float,
    since_s: float = 0.0,
    lines_per_s: float = 80.0,
    crank_hz: float = 1.25,
    counts: bool = True,
    origin_s: float = 0.0,
) -> Reading:
    for i in range(round(since_s * lines_per_s), round(until_s * lines_per_s)):
        t_s = i / lines_per_s
        estimator.add(origin_s + t_s, torque(t_s, crank_hz), math.floor(t_s * crank_hz + 1e-9) if counts else None)
    reading = estimator.reading
    assert reading is not None
    return reading


def test_full_scale_must_be_a_torque() -> None:
    with pytest.raises(ValueError, match="must be above zero"):
        Estimator(0.0)


def test_nothing_is_known_before_there_are_samples() -> None:
    estimator = Estimator(SCALE)
    assert estimator.reading is None
    estimator.add(0.0, 0.006)
    assert estimator.reading is None
    estimator.at(10.0)
    estimator.gap(10.0)
    assert estimator.reading is None


def test_rates_are_not_known_until_there_is_enough_to_know_them_from() -> None:
    estimator = Estimator(SCALE)
    first = feed(estimator, 0.5)
    assert (first.rate_fast_Nm_per_s, first.rate_fast_sd_Nm_per_s, first.rate_slow_Nm_per_s) == (None, None, None)
    assert first.torque_Nm == pytest.approx(0.006, rel=0.06)
    second = feed(estimator, 2.5, since_s=0.5)
    assert second.rate_fast_Nm_per_s is not None
    assert second.rate_slow_Nm_per_s is None
    assert feed(estimator, 4.0, since_s=2.5).rate_slow_Nm_per_s is not None


@pytest.mark.parametrize("lines_per_s", [10.0, 80.0, 320.0])
@pytest.mark.parametrize("crank_hz", [0.8, 1.25, 2.5])
def test_the_ripple_is_taken_out_and_the_rate_is_right(lines_per_s: float, crank_hz: float) -> None:
    reading = feed(Estimator(SCALE), 30.0, lines_per_s=lines_per_s, crank_hz=crank_hz)
    assert reading.torque_Nm == pytest.approx(0.009, rel=0.01)
    assert reading.rate_fast_Nm_per_s == pytest.approx(1e-4, abs=4e-5 if lines_per_s > 10.0 else 7e-5)
    assert reading.rate_slow_Nm_per_s == pytest.approx(1e-4, abs=3e-5)
    assert reading.crank_rev_per_s == pytest.approx(crank_hz, rel=0.1)
    assert reading.cranking is True
    assert reading.crank_state is CrankState.TURNING
    assert reading.crank_turns == pytest.approx(30 * crank_hz, abs=1.01)
    assert reading.turns_source == "counted"


def test_a_hint_and_the_measured_rate() -> None:
    estimator = Estimator(SCALE, lines_per_s_hint=10.0)
    assert estimator.lines_per_s == 10.0
    feed(estimator, 5.0)
    assert estimator.lines_per_s == pytest.approx(80.0)


def test_time_counted_from_1970_changes_nothing() -> None:
    near = feed(Estimator(SCALE), 20.0)
    far = feed(Estimator(SCALE), 20.0, origin_s=1.764e9)
    assert far.t_s == pytest.approx(1.764e9 + near.t_s)
    assert far.torque_Nm == pytest.approx(near.torque_Nm, rel=1e-5)
    assert near.rate_fast_Nm_per_s is not None
    assert far.rate_fast_Nm_per_s == pytest.approx(near.rate_fast_Nm_per_s, abs=1e-8)


def test_stamps_that_do_not_advance_and_what_is_no_number_are_dropped() -> None:
    clean, dirty = Estimator(SCALE), Estimator(SCALE)
    feed(clean, 5.0)
    for i in range(400):
        dirty.add(i / 80, torque(i / 80), math.floor(i / 80 * 1.25 + 1e-9))
        dirty.add(i / 80, 1.0, 900.0)
        dirty.add(i / 80 - 1.0, 1.0)
        dirty.add(i / 80 + 0.001, math.nan)
        dirty.add(math.inf, 0.01)
    assert dirty.reading == clean.reading


def test_a_short_gap_is_bridged_a_long_one_starts_anew() -> None:
    estimator = Estimator(SCALE)
    feed(estimator, 10.0)
    short = feed(estimator, 10.5, since_s=10.3)
    assert short.rate_fast_Nm_per_s is not None
    long = feed(estimator, 14.0, since_s=13.5)
    assert long.rate_fast_Nm_per_s is None
    assert long.crank_turns == pytest.approx(17.0)


def test_silence_makes_the_reading_unknown_and_keeps_the_turns() -> None:
    estimator = Estimator(SCALE)
    feed(estimator, 10.0)
    known = []
    for t_s in (10.4, 10.6):
        estimator.at(t_s)
        known.append(estimator.reading is not None)
    assert known == [True, False]
    again = feed(estimator, 12.0, since_s=11.0)
    assert again.crank_turns == pytest.approx(14.0)


@pytest.mark.parametrize("told", [True, False])
def test_a_meter_that_starts_anew_keeps_the_turns(told: bool) -> None:
    estimator = Estimator(SCALE)
    feed(estimator, 10.0)
    if told:
        estimator.reset()
    reading = feed(estimator, 4.0)
    assert reading.crank_turns == pytest.approx(12 + 4)
    assert reading.t_s == pytest.approx(4.0, abs=0.02)


def test_a_stalled_crank_is_told_from_silence_of_the_pulses() -> None:
    estimator = Estimator(SCALE)
    feed(estimator, 10.0)
    for i in range(800, 960):
        estimator.add(i / 80, torque(10.0), 12)
    assert estimator.reading is not None
    assert estimator.reading.cranking is False
    assert estimator.reading.crank_rev_per_s == 0.0


def test_without_pulses_and_ripple_the_crank_is_not_known_and_taps_count() -> None:
    estimator = Estimator(SCALE)
    random = Random(1)
    for i in range(800):
        estimator.add(i / 80, 0.006 + random.gauss(0.0, 2e-5))
    reading = estimator.reading
    assert reading is not None
    assert (reading.cranking, reading.crank_turns, reading.turns_source) == (None, None, "unknown")
    assert (reading.crank_state, reading.crank_confidence, reading.crank_rev_per_s) == (CrankState.UNKNOWN, 0.0, None)
    estimator.tap(10.0)
    assert estimator.reading is not None
    assert (estimator.reading.crank_turns, estimator.reading.turns_source) == (1.0, "tapped")


def test_turns_from_ripple_are_called_an_estimate_with_its_error() -> None:
    reading = feed(Estimator(SCALE), 60.0, counts=False)
    assert reading.turns_source == "estimated"
    assert reading.crank_rev_per_s == pytest.approx(1.25, rel=0.03)
    assert reading.crank_turns_sd is not None
    assert reading.crank_turns == pytest.approx(60 * 1.25, abs=2 * reading.crank_turns_sd)
    assert 0.5 < reading.crank_turns_sd < 6.0


LINE = st.tuples(
    st.one_of(st.floats(-0.1, 0.6), st.sampled_from([0.0, 0.0125, 3.0, -5.0, 1e9, -1e9, math.nan, math.inf])),
    st.one_of(st.floats(-0.02, 0.02), st.floats(), st.sampled_from([0.0, 0.006, 1e300, -1e300])),
    st.one_of(st.none(), st.integers(-3, 3), st.floats(allow_nan=False, allow_infinity=False)),
    st.sampled_from(["add", "add", "add", "add", "at", "tap", "gap", "reset"]),
)


@given(st.lists(LINE, max_size=120), st.sampled_from([None, 10.0, 80.0, 0.0, -1.0, math.nan]))
def test_whatever_comes_a_reading_holds_numbers_or_nothing(lines: list[Any], hint: float | None) -> None:
    estimator = Estimator(SCALE, hint)
    t_s = 0.0
    for step, torque_Nm, count, what in lines:
        t_s = t_s + step if math.isfinite(t_s + step) else 0.0
        if what == "add":
            estimator.add(t_s + (step if not math.isfinite(step) else 0.0), torque_Nm, count)
        elif what == "reset":
            estimator.reset()
        else:
            getattr(estimator, what)(t_s)
        reading = estimator.reading
        if reading is not None:
            for field in fields(reading):
                value = getattr(reading, field.name)
                assert not isinstance(value, float) or math.isfinite(value), field.name
