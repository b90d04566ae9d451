"""Keyboard hands whose pace strays and sags under load, so that there is something to correct."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scenario import MOTOR
from winding_coach.simulator.hands import KeyboardHands

TICK_S = 0.0125


def speeds(hands: KeyboardHands, seconds: float, torque_Nm: float = 0.0) -> np.ndarray:
    """Speed of the crank at each tick, from 3 s after it was started."""
    hands.command("hook")
    hands.command("crank_faster")
    found = [hands.advance(TICK_S, torque_Nm).crank_rev_per_s for _ in range(round((seconds + 3.0) / TICK_S))]
    return np.array(found[round(3.0 / TICK_S) :])


def hands_that(wander: float = 0.0, sag_per_Nm: float = 0.0, seed: int | None = 1) -> KeyboardHands:
    rng = None if seed is None else np.random.default_rng(seed)
    return KeyboardHands(MOTOR, 0.2, 2.0, wander=wander, sag_per_Nm=sag_per_Nm, rng=rng)


def test_without_either_the_pace_is_even() -> None:
    assert np.ptp(speeds(hands_that(seed=None), 20.0)) < 1e-3
    assert np.ptp(speeds(hands_that(), 20.0)) < 1e-3


@pytest.mark.parametrize("wander", [0.05, 0.15])
def test_it_strays_by_the_share_asked_for(wander: float) -> None:
    """Smoothed by the hand's own 0.35 s: a share of √(5/5.35) of it is left. 2000 s hold some 200 free values."""
    found = speeds(hands_that(wander=wander), 2000.0)
    assert float(np.mean(found)) == pytest.approx(1.2, rel=0.1 * wander / 0.15 + 0.01)
    assert float(np.std(found) / np.mean(found)) == pytest.approx(wander * (5 / 5.35) ** 0.5, rel=0.2)


def test_by_the_seed_only() -> None:
    assert np.array_equal(speeds(hands_that(wander=0.1), 10.0), speeds(hands_that(wander=0.1), 10.0))
    assert not np.array_equal(speeds(hands_that(wander=0.1), 10.0), speeds(hands_that(wander=0.1, seed=2), 10.0))


def test_a_load_slows_it_but_never_to_a_stop() -> None:
    assert speeds(hands_that(sag_per_Nm=40.0), 5.0, torque_Nm=5e-3)[-1] == pytest.approx(1.2 * 0.8, rel=1e-3)
    assert speeds(hands_that(sag_per_Nm=40.0), 5.0, torque_Nm=1.0)[-1] == pytest.approx(1.2 * 0.3, rel=1e-3)
    assert np.min(speeds(hands_that(wander=2.0), 60.0)) > 0.2


def test_stopped_it_stands_however_it_strays() -> None:
    hands = hands_that(wander=0.3)
    speeds(hands, 2.0)
    hands.command("crank_stop")
    for _ in range(400):
        state = hands.advance(TICK_S, 1e-3)
    assert state.crank_rev_per_s == 0.0
