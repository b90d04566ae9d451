"""Cross-talk of a pull: what statics says comes back, and what a set cannot tell is not told."""

from __future__ import annotations

import math

import numpy as np
import pytest

from winding_coach.meter.commissioning.crosstalk import PullPoint, crosstalk
from winding_coach.meter.commissioning.mechanics import pull_torque_Nm

LEAN = math.radians(5.0)
PULLS = [(0.0, 0.0, 0.0), (4.9, 0.0, 0.0), (9.8, 0.0, 0.0), (9.8, LEAN, 0.0), (9.8, -LEAN, 0.0), (0.0, 0.0, 0.0)]
BOTH = [*PULLS, (0.0, 0.0, 6e-3), (9.8, 0.0, 6e-3), (0.0, 0.0, 0.0)]


def points(
    loads: list[tuple[float, float, float]], a: float = 0.0, e: float = 0.0, c: float = 0.0, noise: float = 0.0
) -> list[PullPoint]:
    rng = np.random.default_rng(1_000_001)
    return [
        PullPoint(
            f, tilt, m, m * (1 + c * f) + a * f + pull_torque_Nm(f, e, tilt) + 2e-6 + noise * rng.standard_normal()
        )
        for f, tilt, m in loads
    ]


def test_straight_offset_and_gain_come_back() -> None:
    found = crosstalk(points(BOTH, a=20e-6, e=0.5e-3, c=1e-3))
    assert found is not None
    assert found.Nm_per_N == pytest.approx(20e-6)
    assert found.offset_m == pytest.approx(0.5e-3), "0.44 mN·m at 10 N and 5 degrees: statics"
    assert found.gain_per_N == pytest.approx(1e-3)
    assert found.sd_Nm < 1e-12


def test_a_good_meter_shows_none_beyond_its_noise() -> None:
    found = crosstalk(points(BOTH, noise=1e-6))
    assert found is not None
    assert found.largest_Nm(18.0, 15e-3) < 20e-6
    assert found.sd_Nm == pytest.approx(1e-6, rel=0.8)


def test_what_a_set_cannot_tell_is_not_known() -> None:
    straight = crosstalk(points([load for load in PULLS if load[1] == 0.0], a=20e-6))
    assert straight is not None
    assert (straight.offset_m, straight.gain_per_N) == (None, None)
    assert straight.Nm_per_N == pytest.approx(20e-6)
    assert crosstalk(points(PULLS[:3])) is None
    assert crosstalk(points([(9.8, 0.0, 0.0)] * 5)) is None


def test_the_largest_is_the_sum_of_its_parts() -> None:
    found = crosstalk(points(BOTH, a=-20e-6, e=0.5e-3, c=1e-3))
    assert found is not None
    expected = 18.0 * (20e-6 + 0.5e-3 * math.sin(math.radians(1.0)) + 1e-3 * 15e-3)
    assert found.largest_Nm(18.0, 15e-3) == pytest.approx(expected)
