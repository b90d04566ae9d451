"""The cases that hurt an estimator, one by one, on short made-up scenes with a known truth."""

from __future__ import annotations

import numpy as np
import pytest

from tests.signals.scene import HZ, SCALE, Scene, delay_of, never_stalled, ramp, rate_m, seconds, states
from tests.support.offline import Floats
from winding_coach.base.units import OZF_IN_NM
from winding_coach.signals.broke import BreakDetector
from winding_coach.signals.estimator import Estimator
from winding_coach.signals.limit import LimitPredictor
from winding_coach.signals.reading import CrankState
from winding_coach.signals.tuning import PUT_RIGHT_SD

# -- stamps and gaps


def test_stamps_that_come_in_batches_of_16_ms() -> None:
    scene = Scene(seconds((20, 1.3)), ramp((20, 0.02), start=0.6))
    scene.t_s = np.floor(scene.t_s / 0.016) * 0.016
    readings = scene.run()
    assert rate_m(readings[-1]) == pytest.approx(20, abs=8)
    assert all(abs(rate_m(reading) - 20) < 15 for reading in readings[800:])


@pytest.mark.parametrize(("gap_s", "known_after"), [(0.1, True), (0.45, True), (0.6, False), (3.0, False)])
def test_gaps(gap_s: float, known_after: bool) -> None:
    scene = Scene(seconds((20, 1.3)), ramp((20, 0.02), start=0.6))
    lost = (scene.t_s > 10.0) & (scene.t_s < 10.0 + gap_s)
    readings = scene.run(skip=lost)
    after = readings[int((10.0 + gap_s) * HZ) + 10]
    assert (after is not None and after.rate_fast_Nm_per_s is not None) == known_after
    assert rate_m(readings[-1]) == pytest.approx(20, abs=8)
    last = readings[-1]
    assert last is not None
    assert last.crank_turns == pytest.approx(20 * 1.3, abs=1.1)


def test_a_gap_across_a_stall_tells_nothing_of_it_and_then_that_the_crank_stands() -> None:
    scene = Scene(seconds((10, 1.3), (8, 0.0)), ramp((10, 0.02), (8, 0.0), start=0.6))
    lost = (scene.t_s > 9.5) & (scene.t_s < 12.5)
    readings = scene.run(skip=lost)
    assert set(readings[int(10.2 * HZ) : int(12.4 * HZ)]) == {None}
    assert states(readings)[-1] is CrankState.STALLED
    assert delay_of(readings, 12.5) < 1.6


# -- spikes, zero, constant


@pytest.mark.parametrize("second", [1.0, -1.0])
def test_double_and_opposite_spikes_every_second_at_ten_lines_a_second(second: float) -> None:
    scene = Scene(seconds((40, 1.3), hz=10), ramp((40, 0.01), start=0.6, hz=10), hz=10, counts=True)
    clean = [rate_m(reading) for reading in scene.run()[150:]]
    for i in range(20, 390, 10):
        scene.torque_Nm[i] += 0.9 * OZF_IN_NM
        scene.torque_Nm[i + 1] += second * 0.9 * OZF_IN_NM
    dirty = [rate_m(reading) for reading in scene.run()[150:]]
    assert np.sqrt(np.mean((np.array(dirty) - 10) ** 2)) < 25
    assert np.sqrt(np.mean((np.array(clean) - 10) ** 2)) < 12


@pytest.mark.parametrize("level", [0.0, -0.05, 0.004])
def test_torque_about_nothing_says_nothing_of_the_crank(level: float) -> None:
    scene = Scene(seconds((20, 1.3)), seconds((20, level)), counts=False)
    readings = scene.run()
    assert set(states(readings)) == {CrankState.UNKNOWN}
    assert abs(rate_m(readings[-1])) < 10


def test_a_drift_below_zero_is_followed() -> None:
    scene = Scene(seconds((30, 0.0)), ramp((30, -0.01), start=0.0), counts=False)
    readings = scene.run()
    assert rate_m(readings[-1]) == pytest.approx(-10, abs=6)
    assert readings[-1] is not None
    assert readings[-1].torque_Nm == pytest.approx(-0.3 * OZF_IN_NM, rel=0.05)


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_a_code_that_is_stuck_is_no_stall(level: float) -> None:
    scene = Scene(seconds((20, 1.3)), seconds((20, 1.0)), counts=False)
    scene.torque_Nm[800:] = level * OZF_IN_NM
    told = states(scene.run())
    assert told[700] is CrankState.TURNING
    assert set(told[-400:]) == {CrankState.UNKNOWN}


def test_constant_torque_with_pulses_turns() -> None:
    scene = Scene(seconds((20, 1.3)), seconds((20, 1.0)))
    scene.torque_Nm[:] = OZF_IN_NM
    readings = scene.run()
    assert set(states(readings)[200:]) == {CrankState.TURNING}
    assert rate_m(readings[-1]) == pytest.approx(0.0, abs=1e-6)


# -- the handle


@pytest.mark.parametrize("crank_hz", [0.3, 0.45, 0.7])
def test_a_slow_handle_is_no_stalled_handle(crank_hz: float) -> None:
    readings = Scene(seconds((40, crank_hz)), ramp((40, 0.01), start=0.6)).run()
    assert never_stalled(readings, since_s=12.0)
    assert readings[-1] is not None
    assert readings[-1].crank_rev_per_s == pytest.approx(crank_hz, rel=0.1)


def test_a_jump_from_slow_to_quick() -> None:
    readings = Scene(seconds((15, 0.8), (10, 2.5)), ramp((15, 0.01), (10, 0.03), start=0.6)).run()
    assert never_stalled(readings, since_s=5.0)
    last = readings[-1]
    assert last is not None
    assert last.crank_rev_per_s == pytest.approx(2.5, rel=0.1)
    assert last.crank_turns == pytest.approx(15 * 0.8 + 10 * 2.5, abs=1.1)
    assert rate_m(last) == pytest.approx(30, abs=12)


@pytest.mark.parametrize("counts", [True, False])
@pytest.mark.parametrize("angle", [0.0, 0.25, 0.5, 0.75])
def test_a_stop_in_mid_turn_with_the_ripple_frozen(counts: bool, angle: float) -> None:
    long = 12.0 + angle / 1.25
    scene = Scene(seconds((long, 1.25), (6, 0.0)), ramp((long, 0.012), (6, 0.0), start=0.7), counts=counts)
    readings = scene.run()
    assert never_stalled(readings, 5.0, long)
    assert delay_of(readings, long) < 1.3
    assert readings[-1] is not None
    assert readings[-1].cranking is False


@pytest.mark.parametrize("hz_of_hand", [8.0, 10.0, 12.0])
def test_tremor_of_the_hand_in_a_stall(hz_of_hand: float) -> None:
    scene = Scene(seconds((12, 1.25), (6, 0.0)), ramp((12, 0.012), (6, 0.0), start=0.7), counts=False)
    scene.torque_Nm[960:] += 0.006 * OZF_IN_NM * np.sin(2 * np.pi * hz_of_hand * scene.t_s[960:])
    told = states(scene.run())
    # Whether it stands cannot always be said of a hand that shakes, but never that it turns.
    assert CrankState.TURNING not in told[int(13.0 * HZ) :]
    assert set(told[int(6.0 * HZ) : 960]) == {CrankState.TURNING}


def test_a_step_in_during_a_stall_does_not_end_it_with_pulses() -> None:
    trend = ramp((12, 0.012), (3, 0.0), (0.5, -0.1), (3, 0.0), start=0.8)
    readings = Scene(seconds((12, 1.25), (6.5, 0.0)), trend).run()
    assert delay_of(readings, 12.0) < 1.3
    assert set(states(readings)[int(14.0 * HZ) :]) == {CrankState.STALLED}


def test_a_slip_at_the_onset_of_a_stall() -> None:
    trend = ramp((12, 0.012), (0.05, -0.4), (6, 0.0), start=0.8)
    for counts in (True, False):
        readings = Scene(seconds((12, 1.25), (6.05, 0.0)), trend, counts=counts).run()
        assert delay_of(readings, 12.0) < 1.8


def test_without_ripple_nothing_false_is_said() -> None:
    """Only the slope of torque is left to show anything."""
    scene = Scene(seconds((15, 1.25), (6, 0.0)), ramp((15, 0.012), (6, 0.0), start=0.7), ripple=0.0, counts=False)
    told = states(scene.run())
    assert CrankState.STALLED not in told[: 15 * 80]
    assert CrankState.TURNING not in told[round(17.5 * 80) :]


def test_two_hands_make_the_second_harmonic_the_larger() -> None:
    scene = Scene(seconds((25, 1.1)), ramp((25, 0.012), start=0.6), second=0.7, counts=False)
    last = scene.run()[-1]
    assert last is not None
    assert last.crank_rev_per_s == pytest.approx(1.1, rel=0.05)


@pytest.mark.parametrize("hz", [10.0, 80.0])
def test_a_gear_line_above_half_the_rate_of_the_lines(hz: float) -> None:
    speed = seconds((40, 1.31), hz=hz)  # 15 teeth: 19.65 Hz, which ten lines a second show as 0.35 Hz
    scene = Scene(speed, ramp((40, 0.012), start=0.6, hz=hz), hz=hz, gear=0.01)
    errors = [rate_m(reading) - 12 for reading in scene.run()[int(8 * hz) :]]
    assert np.sqrt(np.mean(np.square(errors))) < (8 if hz == 80.0 else 25)


def test_lost_and_double_pulses_do_no_harm() -> None:
    scene = Scene(seconds((60, 1.25)), ramp((60, 0.012), start=0.6))
    at = np.flatnonzero(np.diff(scene.count)) + 1
    moves = np.diff(scene.count, prepend=0.0)
    moves[at[[20, 45]]] = 0.0
    moves[at[[30, 60]] + 4] += 1.0
    scene.count = np.cumsum(moves)
    readings = scene.run()
    assert never_stalled(readings, since_s=4.0)
    last = readings[-1]
    assert last is not None
    assert last.crank_turns == pytest.approx(60 * 1.25, abs=1.1)
    assert last.crank_turns_sd == pytest.approx(2 * PUT_RIGHT_SD)  # four put right
    speeds = [reading.crank_rev_per_s for reading in readings[480:] if reading is not None]
    assert max(abs(speed - 1.25) for speed in speeds if speed is not None) < 0.7


@pytest.mark.parametrize("angle", [0.05, 0.3, 0.55])
def test_by_the_template_a_stop_is_told_as_soon_as_the_pulse_is_overdue(angle: float) -> None:
    long = 16.0 + angle / 1.25
    scene = Scene(seconds((long, 1.25), (4, 0.0)), ramp((long, 0.012), (4, 0.0), start=0.7))
    readings = scene.run()
    assert never_stalled(readings, 5.0, long)
    assert delay_of(readings, long) < (1.2 - angle) / 1.25 + 0.1


def test_two_pulses_lost_in_a_row_are_no_stop_where_the_ripple_goes_on() -> None:
    scene = Scene(seconds((40, 1.25)), ramp((40, 0.012), start=0.7))
    at = np.flatnonzero(np.diff(scene.count)) + 1
    moves = np.diff(scene.count, prepend=0.0)
    moves[at[[30, 31]]] = 0.0
    scene.count = np.cumsum(moves)
    assert never_stalled(scene.run(), since_s=4.0)


@pytest.mark.parametrize("one_sensor", [True, False])
def test_reversal_in_the_back_off(one_sensor: bool) -> None:
    speed = seconds((20, 1.3), (5, -0.8), (3, 0.0))
    trend = ramp((20, 0.05), (5, -0.17), (3, 0.0), start=0.8)
    readings = Scene(speed, trend, one_sensor=one_sensor).run()
    told = states(readings)
    assert CrankState.REVERSING not in told[: 20 * 80]
    assert told[24 * 80] is CrankState.REVERSING
    reading, last = readings[24 * 80], readings[-1]
    assert reading is not None
    assert last is not None
    assert reading.cranking is True
    assert reading.crank_rev_per_s is not None
    assert reading.crank_rev_per_s < 0
    assert last.crank_turns == pytest.approx(26 - 4, abs=1.5)


def test_a_hasty_step_in_below_the_peak_is_no_reversal() -> None:
    scene = Scene(seconds((15, 1.3), (3, 1.3), (3, 1.3)), ramp((15, 0.02), (3, -0.2), (3, 0.05), start=0.9))
    readings = scene.run()
    assert CrankState.REVERSING not in states(readings)
    last = readings[-1]
    assert last is not None
    assert last.crank_turns == pytest.approx(21 * 1.3, abs=1.1)


def test_hooks_that_walk_together_explain_a_falling_torque() -> None:
    scene = Scene(seconds((15, 1.3), (3, 1.3)), ramp((15, 0.03), (3, -0.15), start=1.2))
    estimator = Estimator(SCALE, HZ)
    distance = np.concatenate([np.full(1200, 2.0), 2.0 - 0.4 * np.arange(240) / HZ])
    told, walk = [], []
    for line in zip(scene.t_s.tolist(), scene.torque_Nm.tolist(), scene.count.tolist(), distance.tolist(), strict=True):
        estimator.add(*line)
        if estimator.reading is not None:
            told.append(estimator.reading.crank_state)
            walk.append(estimator.reading.walk_m_per_s)
    assert CrankState.REVERSING not in told
    assert walk[1100] == pytest.approx(0.0)
    assert walk[-1] == pytest.approx(-0.4, rel=0.05)
    assert estimator.reading is not None
    assert estimator.reading.distance_m == pytest.approx(distance[-1])
    blind = scene.run()
    assert CrankState.REVERSING in states(blind)


def test_reversal_from_torque_alone_takes_turns_off_the_estimate() -> None:
    scene = Scene(
        seconds((20, 1.3), (5, -1.0), (3, 0.0)), ramp((20, 0.05), (5, -0.17), (3, 0.0), start=0.8), counts=False
    )
    readings = scene.run()
    assert CrankState.REVERSING in states(readings)[21 * 80 : 24 * 80]
    last, top = readings[-1], readings[20 * 80]
    assert last is not None
    assert top is not None
    assert last.crank_turns is not None
    assert top.crank_turns is not None
    assert top.crank_turns == pytest.approx(26, abs=1.5)
    assert last.crank_turns < top.crank_turns - 1
    assert last.turns_source == "estimated"


def test_a_sensor_that_is_dead_is_not_believed_against_the_ripple() -> None:
    scene = Scene(seconds((30, 1.3)), ramp((30, 0.012), start=0.6))
    scene.count[800:] = scene.count[800]
    told = states(scene.run())
    assert told[780] is CrankState.TURNING
    assert set(told[-800:]) == {CrankState.UNKNOWN}


def test_taps_tell_the_period_where_there_is_no_ripple() -> None:
    scene = Scene(seconds((20, 0.5)), ramp((20, 0.012), start=0.6), ripple=0.0, counts=False)
    estimator = Estimator(SCALE, HZ)
    estimator.tap(0.0)
    for i in range(1600):
        estimator.add(float(scene.t_s[i]), float(scene.torque_Nm[i]))
        if i % 160 == 0:
            estimator.tap(float(scene.t_s[i]))
    reading = estimator.reading
    assert reading is not None
    assert (reading.crank_turns, reading.turns_source) == (11.0, "tapped")
    assert estimator.crank_state is not CrankState.STALLED
    assert reading.crank_rev_per_s in (None, pytest.approx(0.5))
    assert rate_m(reading) == pytest.approx(12, abs=6)


# -- the end of a motor


def broke(torque: Floats) -> list[float]:
    detector = BreakDetector(SCALE, HZ)
    return [i / HZ for i, y in enumerate(torque.tolist()) if detector.add(i / HZ, y)]


def test_a_break_during_a_step_in() -> None:
    scene = Scene(seconds((10.3, 1.2), (2, 0.0)), ramp((10, 0.01), (0.3, -0.3), (2, 0.0), start=0.9))
    scene.torque_Nm[824:] = np.random.default_rng(2).normal(0.0, 0.003 * OZF_IN_NM, 160)
    assert broke(scene.torque_Nm) == [pytest.approx(10.3 + 2 / HZ)]


def test_unhooking_is_told_as_the_same() -> None:
    scene = Scene(seconds((10, 0.0), (3, 0.0)), seconds((10, 0.9), (3, 0.9)))
    scene.torque_Nm[800:812] *= np.linspace(1, 0, 12)
    scene.torque_Nm[812:] = 0.0
    assert len(broke(scene.torque_Nm)) == 1


def test_saturation_is_no_break_and_coming_down_from_it_to_the_torque_is_none() -> None:
    torque = seconds((5, 1.2), (0.5, 5.0), (5, 1.2)) * OZF_IN_NM
    assert broke(torque) == []


def test_a_stuck_code_is_no_break() -> None:
    assert broke(seconds((5, 1.2), (20, 1.1)) * OZF_IN_NM) == []


# -- limits


def warned(trend: Floats, limit: float = 1.75) -> tuple[list[float], list[float]]:
    """Seconds at which the warning went on and off."""
    scene = Scene(seconds((len(trend) / HZ, 1.3)), trend)
    predictor = LimitPredictor(SCALE)
    on: list[float] = []
    off: list[float] = []
    before = False
    for i, reading in enumerate(scene.run()):
        if reading is None or reading.rate_slow_Nm_per_s is None:
            continue
        view = predictor.update(reading.torque_Nm, reading.rate_slow_Nm_per_s, limit * OZF_IN_NM)
        if view.coming != before:
            (on if view.coming else off).append(i / HZ)
            before = view.coming
    return on, off


def test_a_quick_approach_is_told_in_time() -> None:
    on, off = warned(ramp((12, 0.01), (9, 0.1), start=0.75))
    crossed = 12 + (1.75 - 0.87) / 0.1
    assert len(on) == 1
    assert crossed - on[0] > 3.0
    assert off == []


def test_hovering_just_under_a_limit_does_not_chatter() -> None:
    t_s = np.arange(60 * 80) / HZ
    on, off = warned(1.66 + 0.02 * np.sin(2 * np.pi * t_s / 7.0))
    assert len(on) == 1
    assert len(off) == 0


def test_falling_right_after_the_alarm_clears_it_once() -> None:
    on, off = warned(ramp((12, 0.01), (6.5, 0.1), (4, -0.15), (8, 0.0), start=0.75))
    assert len(on) == 1
    assert len(off) == 1
