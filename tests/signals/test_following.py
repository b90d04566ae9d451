"""The torque to look at: a jump at once, ripple and noise never, and no dip on the way back to the smoothed one."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from winding_coach.signals.estimator import Estimator
from winding_coach.signals.following import Follower

FULL_SCALE_Nm = 7e-3
LINES_PER_S = 80.0


def shown(torque_Nm: NDArray[Any]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Feed samples at an even pace; return shown and smoothed torque after each, NaN where there is none."""
    estimator = Estimator(FULL_SCALE_Nm, LINES_PER_S)
    rows = []
    for number, torque in enumerate(torque_Nm):
        estimator.add(number / LINES_PER_S, float(torque))
        reading = estimator.reading
        rows.append((np.nan, np.nan) if reading is None else (reading.shown_Nm, reading.torque_Nm))
    table = np.array(rows, dtype=float)
    return table[:, 0], table[:, 1]


@pytest.mark.parametrize("share", [0.02, 0.12, 0.5, -0.12])
def test_a_jump_is_shown_two_lines_later_and_stays(share: float) -> None:
    before, after = 0.6 * FULL_SCALE_Nm, (0.6 + share) * FULL_SCALE_Nm
    torque = np.concatenate([np.full(400, before), np.full(400, after)])
    looked_at, smoothed = shown(torque)
    assert looked_at[399] == pytest.approx(before, rel=1e-6)
    # The gate needs two lines to tell a jump from a spike: line 402 is the first that can show it.
    assert looked_at[402:] == pytest.approx(np.full(398, after), abs=0.006 * FULL_SCALE_Nm)
    assert abs(smoothed[402] - after) > 0.3 * abs(after - before)


def test_a_single_spike_is_not_shown() -> None:
    torque = np.full(400, 0.6 * FULL_SCALE_Nm)
    torque[300] *= 1.5
    looked_at, _ = shown(torque)
    assert np.nanmax(np.abs(looked_at[200:] - 0.6 * FULL_SCALE_Nm)) < 0.001 * FULL_SCALE_Nm


def test_ripple_of_the_crank_is_smoothed_away_as_before() -> None:
    at_s = np.arange(1600) / LINES_PER_S
    rng = np.random.default_rng(7)
    ripple = 0.04 * np.sin(2 * np.pi * 1.25 * at_s) + 0.01 * np.sin(2 * np.pi * 2.5 * at_s + 1.0)
    torque = FULL_SCALE_Nm * (0.3 + 0.01 * at_s + ripple + 0.005 * rng.standard_normal(at_s.size))
    looked_at, smoothed = shown(torque)
    settled = slice(400, None)
    assert np.mean(looked_at[settled] == smoothed[settled]) > 0.99
    assert np.std(looked_at[settled] - smoothed[settled]) < 0.002 * FULL_SCALE_Nm


def test_a_slow_rise_is_the_smoothed_one() -> None:
    torque = FULL_SCALE_Nm * (0.2 + 0.02 * np.arange(1200) / LINES_PER_S)
    looked_at, smoothed = shown(torque)
    np.testing.assert_array_equal(looked_at[200:], smoothed[200:])


def test_a_reset_forgets_the_jump() -> None:
    follower = Follower(1.0)
    follower.add(0.0, 0.5, 0.5)
    follower.add(0.1, 0.9, 0.5)
    assert follower.shown(0.5) == 0.9
    follower.reset()
    assert follower.shown(0.5) == 0.5


def test_what_smoothing_never_believes_is_given_up() -> None:
    follower = Follower(1.0)
    for number in range(320):
        follower.add(number / 80, 0.5 if number < 100 else 0.7 + 0.01 * (number % 2), 0.5)
    assert follower.shown(0.5) == 0.5
