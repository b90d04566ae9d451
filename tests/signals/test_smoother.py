"""The weights: exact for a rise, blind to the ripple, and the best there is under their own model."""

import math

import numpy as np
import pytest

from winding_coach.signals import smoother
from winding_coach.signals.tuning import CHECK_LAG_S, MODEL, RATE_LAG_S


@pytest.mark.parametrize("tick_hz", [10.0, 20.0])
@pytest.mark.parametrize("period_s", [0.3, 0.5, 0.8, 1.25, 2.0])
def test_exact_for_a_steady_rise_and_blind_to_the_ripple(tick_hz: float, period_s: float) -> None:
    index = smoother.period_index(period_s)
    period_s = smoother.period_of(index)
    now, late, middle = smoother.weights(tick_hz, index)
    at_s = -(np.arange(smoother.taps(tick_hz)) + 0.5) / tick_hz
    rise = 3.0 + 0.7 * at_s
    assert (now @ rise, late @ rise, middle @ rise) == pytest.approx((3.0, 0.7, 0.7))
    for harmonic in (1, 2):
        if harmonic / period_s < tick_hz / 2:
            wave = np.exp(2j * math.pi * harmonic * at_s / period_s)
            untreated = 2 * math.pi * harmonic / period_s
            assert abs(late @ wave) < 0.04 * untreated
            assert abs(now @ wave) < 0.1


def test_a_slow_bend_is_followed_within_a_second() -> None:
    at_s = -(np.arange(50) + 0.5) / 20.0
    _, late, middle = smoother.weights(20.0, smoother.period_index(0.8))
    bend = 0.5 * (at_s + 10.0) ** 2  # the rate is the time + 10
    assert 10.0 - late @ bend == pytest.approx(0.8, abs=0.05)
    assert RATE_LAG_S < 10.0 - late @ bend < 10.0 - middle @ bend
    assert 10.0 - middle @ bend == pytest.approx(CHECK_LAG_S, abs=0.15)


def test_periods_of_the_table() -> None:
    assert smoother.period_index(0.01) == 0
    assert smoother.period_index(9.0) == smoother.PERIODS - 1
    for index in range(smoother.PERIODS):
        assert smoother.period_index(smoother.period_of(index)) == index


def test_rows_are_the_weights() -> None:
    assert np.array(smoother.rows(20.0, 20)) == pytest.approx(smoother.weights(20.0, 20))


def test_no_other_weights_exact_for_a_rise_do_better_under_the_model() -> None:
    # The kriging solution is the constrained minimum: any step along the free directions makes the variance larger
    # (Matheron 1963). The variance is computed here by simulating the model, not by its covariance.
    random = np.random.default_rng(7)
    _, late, _ = smoother.weights(20.0, smoother.period_index(0.8))
    winds, rates = _model_winds(random, 4000)
    best = float(np.mean((winds @ late - rates) ** 2))
    at_s = -(np.arange(50) + 0.5) / 20.0
    exact = np.linalg.qr(np.stack([np.ones(50), at_s], axis=1))[0]
    worse = 0
    for _ in range(20):
        off = random.normal(size=50)
        off -= exact @ (exact.T @ off)
        off *= 0.3 * np.linalg.norm(late) / np.linalg.norm(off)
        worse += float(np.mean((winds @ (late + off) - rates) ** 2)) > best
    assert worse == 20


def _model_winds(random: np.random.Generator, n: int) -> tuple[smoother.Floats, smoother.Floats]:
    """Bins (newest first) and rates 0.6 s ago of winds drawn from the model behind the weights."""
    model, dt = MODEL, 0.0125
    steps, before = 200, 40
    rate = np.zeros((n, steps + before))
    wander = random.normal(0, model.wander_per_s, n)
    keep = math.exp(-dt / model.wander_s)
    for k in range(steps + before):
        rate[:, k] += wander
        wander = keep * wander + random.normal(0, model.wander_per_s * math.sqrt(1 - keep**2), n)
    long = round(model.fall_s / dt)
    shape = model.fall * (1 - np.cos(2 * math.pi * np.arange(long) / long)) / model.fall_s
    starts = random.uniform(size=rate.shape) < model.falls_per_s * dt
    for row, k in zip(*np.nonzero(starts), strict=True):
        end = min(k + long, steps + before)
        rate[row, k:end] -= shape[: end - k]
    rate = rate[:, before:]
    torque = np.cumsum(rate * dt + random.normal(0, model.slip * math.sqrt(dt), rate.shape), axis=1)
    t = np.arange(steps) * dt
    for harmonic, size in enumerate(model.ripple, start=1):
        torque += size * np.cos(2 * math.pi * harmonic * t / 0.8 + random.uniform(0, 2 * math.pi, (n, 1)))
    bins = torque.reshape(n, 50, 4).mean(axis=2) + random.normal(0, model.noise / 2, (n, 50))
    return bins[:, ::-1], rate[:, steps - 1 - round(0.6 / dt)]
