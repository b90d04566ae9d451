"""The one-turn mean: no ripple of any shape is left, the ring never grows, and means agree with numpy's."""

import math

import numpy as np
import pytest

from winding_coach.signals.comb import Comb


def ripple(t: float, period: float) -> float:
    phase = 2 * math.pi * t / period
    return 0.05 * math.sin(phase) + 0.04 * math.cos(2 * phase) + 0.02 * math.sin(3 * phase)


def test_a_periodic_ripple_of_any_shape_is_gone() -> None:
    comb = Comb()
    for i in range(400):
        comb.add(i / 80, 1.0 + ripple(i / 80, 0.8))
    assert comb.mean_until(4.9, 0.8) == pytest.approx(1.0, abs=1e-12)
    assert abs(comb.mean_until(4.9, 0.7) - 1.0) > 1e-3


def test_means_agree_with_a_trapezoid_over_uneven_stamps() -> None:
    random = np.random.default_rng(3)
    t = np.cumsum(random.uniform(0.005, 0.02, 300))
    y = random.normal(size=300)
    comb = Comb()
    for pair in zip(t, y, strict=True):
        comb.add(*pair)
    # numpy.trapezoid between two of the samples
    assert comb.mean_until(t[280], t[280] - t[150]) == pytest.approx(
        np.trapezoid(y[150:281], t[150:281]) / (t[280] - t[150]), rel=1e-12
    )


def test_the_ring_does_not_grow_and_keeps_the_newest() -> None:
    comb = Comb()
    for i in range(10_000):
        comb.add(i * 1e-3, float(i))
    assert comb.oldest_s() == pytest.approx(9.999 - 2.047)
    assert comb.mean_until(9.999, 1.0) == pytest.approx(9499.0)
    assert comb.mean_until(9.999, 5.0) == pytest.approx((9999**2 - 7952**2) / 2 * 1e-3 / 5.0)


def test_reset() -> None:
    comb = Comb()
    comb.add(5.0, 1.0)
    comb.reset()
    comb.add(1.0, 2.0)
    comb.add(2.0, 4.0)
    assert comb.oldest_s() == 1.0
    assert comb.mean_until(2.0, 1.0) == 3.0
