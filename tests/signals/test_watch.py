"""The chance that the crank stands, by torque alone: what it says of made-up scenes, and what may be said of it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.bench.streams.drawing import TUNING
from tests.bench.streams.making import stream
from tests.bench.streams.scoring import scored
from tests.bench.streams.watching import watched
from tests.signals.scene import HZ, Scene, ramp, seconds, states
from winding_coach.signals.crank_fit import TORQUE
from winding_coach.signals.network import Network
from winding_coach.signals.reading import CrankState
from winding_coach.signals.traits import COUNT, NAMES, Traits
from winding_coach.signals.turns import RippleTurns, TurnCounter
from winding_coach.signals.watch import TorqueWatch, chance


def test_a_network_is_read_as_it_is_written() -> None:
    table = "one 1000 -500\ntwo 250 2000\nbias 100 0\nout 1500 -1000\nconstant -300"
    network = Network.read(table)
    expected = 1.5 * math.tanh(1.0 + 0.5 + 0.1) - math.tanh(-0.5 + 4.0) - 0.3
    assert network.logit(np.array([1.0, 2.0])) == pytest.approx(expected)
    again = Network.read(network.written(("one", "two")))
    assert again.hidden.tolist() == network.hidden.tolist()
    assert again.logit(np.array([0.3, -1.0])) == network.logit(np.array([0.3, -1.0]))


@pytest.mark.parametrize("tick_hz", [10.0, 20.0])
def test_the_fitted_numbers_fit_the_traits(tick_hz: float) -> None:
    assert TORQUE[tick_hz].hidden.shape == (COUNT, 16)
    assert len(set(NAMES)) == COUNT


def test_what_is_left_about_a_line_is_that_of_least_squares() -> None:
    """Against numpy's own polynomial fit."""
    random = np.random.default_rng(3)
    bins = 0.6 + 0.01 * np.arange(60) / 20 + random.normal(0.0, 0.01, 60)
    traits, noise = Traits(20.0), 0.002
    for share in bins.tolist():
        row = traits.tick(share, noise, None)
    assert row is not None
    for i, width in enumerate((4, 6, 8, 11, 15, 20, 27, 36, 50)):
        at = np.arange(width)
        rest = bins[-width:] - np.polyval(np.polyfit(at, bins[-width:], 1), at)
        left = float(rest @ rest) / (width - 2) + noise**2 + 1e-9
        assert row[i] == pytest.approx(math.log(left / (noise**2 + 1e-9)), abs=1e-6)


def test_nothing_is_known_before_the_longest_window_is_full_nor_without_torque() -> None:
    watch = TorqueWatch(20.0)
    for i in range(49):
        watch.tick(0.5 + 0.02 * math.sin(0.4 * i), 0.001, None, known=True)
    assert watch.said == (CrankState.UNKNOWN, 0.0)
    watch.tick(0.5, 0.001, None, known=True)
    assert watch.standing is not None
    watch.tick(0.5, 0.001, None, known=False)
    assert watch.said == (CrankState.UNKNOWN, 0.0)


def test_what_is_said_rests_on_its_stated_chance() -> None:
    scene = Scene(
        seconds((20, 1.25), (5, 0.0), (6, 1.25)), ramp((20, 0.012), (5, 0.0), (6, 0.012), start=0.7), counts=False
    )
    for reading in scene.run():
        if reading is None or reading.p_standing is None:
            continue
        if reading.crank_state is CrankState.STALLED:
            assert reading.p_standing >= 0.70
        if reading.crank_state is CrankState.TURNING:
            assert reading.p_standing <= 0.20
        if reading.crank_state is not CrankState.UNKNOWN:
            assert reading.crank_confidence == pytest.approx(max(reading.p_standing, 1.0 - reading.p_standing))


def test_chances_stay_within_what_a_thousand_looks_could_show() -> None:
    assert 0.0005 < chance(-1e9) < chance(0.0) == 0.5 < chance(1e9) < 0.9995


def test_a_stride_near_the_peak_is_no_reversal_without_a_count() -> None:
    """Torque falls for 0.7 s as somebody steps in by 30 cm."""
    scene = Scene(seconds((22, 1.3)), ramp((18, 0.05), (0.7, -0.35), (3.3, 0.05), start=0.8), counts=False)
    assert CrankState.REVERSING not in states(scene.run())


def test_turns_that_were_added_as_torque_began_to_fall_come_off_again() -> None:
    counter = TurnCounter()
    by_ripple = RippleTurns(counter)
    for falls, back, turned in [(False, False, 1.0)] * 3 + [(True, False, 0.5)] * 2 + [(True, True, 0.5)] * 2:
        by_ripple.add(turned, 1, falls, back, True)
    assert counter.turns == pytest.approx(3.0 - 0.5 * 4)


@pytest.mark.no_cover
def test_on_streams_by_another_hand_no_turning_crank_is_called_standing() -> None:
    """Before, 44 times an hour; here 4 of the streams that it was not fitted to, one in four with almost no ripple."""
    false, hours, stated, stood = 0, 0.0, [], []
    for i in (0, 3, 5, 7):
        one = stream(TUNING + i, 80.0)
        score = scored(one, watched(one, "none"), "none")
        false, hours = false + score.false, hours + score.turning_h
        stated.append(score.stated)
        stood.append(score.stood)
    sure = np.concatenate(stated) > 0.9
    assert hours > 0.1
    assert false <= 1
    assert np.concatenate(stood)[sure].mean() > 0.85


def test_ten_lines_a_second_state_chances_too() -> None:
    scene = Scene(seconds((20, 1.1), hz=10.0), ramp((20, 0.012), start=0.7, hz=10.0), hz=10.0, counts=False)
    known = [reading.p_standing for reading in scene.run() if reading is not None]
    assert known[-1] is not None
    assert known[-1] < 0.5
    assert HZ == 80.0
