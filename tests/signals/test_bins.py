"""Bins are means of the trapezoid integral, whatever the stamps; checked against numpy."""

import numpy as np
import pytest

from winding_coach.signals.bins import Bins


def through(t: list[float], y: list[float], tick_hz: float = 20.0) -> list[float]:
    bins = Bins(tick_hz)
    return [mean for pair in zip(t, y, strict=True) for mean in bins.add(*pair)]


def test_a_constant_is_a_constant_at_any_stamps() -> None:
    t = np.cumsum(np.random.default_rng(1).uniform(0.001, 0.2, 300)).tolist()
    means = through(t, [0.7] * 300)
    assert means == pytest.approx([0.7] * len(means))
    assert len(means) == int(t[-1] * 20) - int(t[0] * 20) - 1


def test_a_ramp_gives_the_torque_at_the_middles() -> None:
    t = [i / 77 for i in range(200)]
    means = through(t, t)
    # The running integral is a straight line between samples, so an edge is off by a step's bend at most
    assert means == pytest.approx([(k + 0.5) / 20 for k in range(len(means))], abs=20 / 77**2 / 4)


def test_means_are_those_of_the_interpolated_integral() -> None:
    random = np.random.default_rng(2)
    t = np.cumsum(random.uniform(0.002, 0.03, 500))
    y = random.normal(size=500)
    area = np.concatenate([[0.0], np.cumsum(np.diff(t) * (y[1:] + y[:-1]) / 2)])  # numpy.interp of the integral
    edges = np.arange(np.ceil(t[0] * 20), np.floor(t[-1] * 20) + 1) / 20
    assert through(t.tolist(), y.tolist()) == pytest.approx(list(np.diff(np.interp(edges, t, area)) * 20), abs=1e-9)


def test_a_long_step_fills_several_bins_and_reset_forgets() -> None:
    bins = Bins(20.0)
    bins.add(0.0, 1.0)
    assert bins.add(0.2, 1.0) == pytest.approx([1.0] * 4)
    bins.reset()
    assert bins.add(9.0, 5.0) == []
    assert bins.add(9.06, 5.0) == pytest.approx([5.0])
