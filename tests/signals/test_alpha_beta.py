"""Gains against published values and scipy's Riccati solution; the start against numpy's least-squares line."""

import math

import numpy as np
import pytest
from scipy.linalg import solve_discrete_are

from winding_coach.signals.alpha_beta import AlphaBeta, gains_for_index, gains_for_lag, start_gains


@pytest.mark.parametrize(
    ("index", "alpha", "beta"),
    # Kalata 1984, "The tracking index", worked values from memory; the third computed from the same formula
    [(1.0, 0.75, 0.5), (0.1, 0.36, 0.08), (0.5, 0.6283734572, 0.3048058984)],
)
def test_gains_for_tracking_index(index: float, alpha: float, beta: float) -> None:
    assert gains_for_index(index) == pytest.approx((alpha, beta), abs=1e-9)


@pytest.mark.parametrize("index", [0.01, 0.1, 0.5, 1.0, 3.0])
def test_gains_are_the_steady_kalman_filter(index: float) -> None:
    # The steady state of the Kalman filter of a level with white acceleration: scipy.linalg.solve_discrete_are
    F = np.array([[1.0, 1.0], [0.0, 1.0]])
    G = np.array([[0.5], [1.0]])
    H = np.array([[1.0, 0.0]])
    P = solve_discrete_are(F.T, H.T, index**2 * G @ G.T, np.array([[1.0]]))
    gain = P @ H.T / (H @ P @ H.T + 1.0)
    assert gains_for_index(index) == pytest.approx((gain[0, 0], gain[1, 0]), rel=1e-9)


def test_gains_for_the_lags_in_use() -> None:
    assert gains_for_lag(0.4 * 20) == pytest.approx((17 / 81, 2 / 81))
    assert gains_for_lag(0.4 * 10) == pytest.approx((0.36, 0.08))
    assert gains_for_lag(2.5 * 20) == pytest.approx((0.038831, 0.000769), abs=5e-7)


@pytest.mark.parametrize("lag_ticks", [2.0, 8.0, 50.0])
def test_lag_gains_are_those_of_a_tracking_index(lag_ticks: float) -> None:
    rho = lag_ticks / (1 + lag_ticks)
    assert gains_for_index(2 * (1 - rho) ** 2 / rho) == pytest.approx(gains_for_lag(lag_ticks))


def test_starts_as_the_least_squares_line() -> None:
    y = np.random.default_rng(4).normal(size=40)
    line = AlphaBeta(lag_s=1e6, tick_hz=20.0)  # steady gains of nearly nothing: only the start is seen
    for n, measured in enumerate(y, start=1):
        line.add(measured)
        if n >= 2:
            slope, level = np.polyfit(np.arange(n) - (n - 1), y[:n], 1)  # numpy.polyfit
            assert line.level == pytest.approx(level, abs=1e-9)
            assert line.rate == pytest.approx(slope * 20.0, abs=1e-8)


def test_slope_of_the_start_reaches_the_cramer_rao_bound() -> None:
    # Bound for a slope in white noise, 12σ²/(Δ²N(N²−1)): N 50, Δ 0.02, σ 1.3 gives 0.405762305 (computed)
    bound = 12 * 1.3**2 / (0.02**2 * 50 * (50**2 - 1))
    assert bound == pytest.approx(0.405762305)
    weights = []
    for impulse in range(50):
        line = AlphaBeta(lag_s=1e6, tick_hz=50.0)
        for n in range(50):
            line.add(1.0 if n == impulse else 0.0)
        weights.append(line.rate)
    assert 1.3**2 * math.fsum(w * w for w in weights) == pytest.approx(bound, rel=1e-6)
    assert start_gains(2) == (1.0, 1.0)


def test_a_ramp_is_followed_without_error_in_rate() -> None:
    fast = AlphaBeta(lag_s=0.4, tick_hz=20.0)
    for k in range(400):
        fast.add(0.003 * k / 20.0)
    assert fast.rate == pytest.approx(0.003, rel=1e-9)
    fast.reset()
    assert (fast.count, fast.level, fast.rate) == (0, 0.0, 0.0)


def test_rate_lags_by_what_was_asked() -> None:
    fast = AlphaBeta(lag_s=0.4, tick_hz=20.0)
    for k in range(600):
        fast.add(0.5 * (k / 20.0) ** 2)  # the rate is the time
    assert fast.rate == pytest.approx(599 / 20.0 - 0.4, abs=1e-3)
