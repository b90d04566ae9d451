"""Slopes and their intervals against scipy's, and how often the interval holds the true slope."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import theilslopes

from winding_coach.review.season.trend import LEAST, MOST, trend_of


def test_it_agrees_with_scipy() -> None:
    # scipy.stats.theilslopes: Sen (1968), equations 2.6 and following, ties included.
    rng = np.random.default_rng(1)
    for _ in range(60):
        count = int(rng.integers(LEAST, 50))
        x = np.sort(rng.integers(0, 40, count)).astype(float)
        y = np.round(0.05 * x + rng.normal(size=count), int(rng.integers(0, 4)))
        theirs, ours = theilslopes(y, x, 0.95), trend_of(x.tolist(), y.tolist())
        assert ours is not None
        assert [ours.slope, ours.low, ours.high] == pytest.approx([theirs[0], theirs[2], theirs[3]], abs=1e-12)


def test_a_line_is_its_own_trend_and_one_odd_wind_does_not_bend_it() -> None:
    xs = [float(n) for n in range(1, 21)]
    ys = [3.0 + 0.5 * x for x in xs]
    trend = trend_of(xs, ys)
    assert trend is not None
    assert (trend.slope, trend.low, trend.high, trend.told) == (0.5, 0.5, 0.5, 1)
    assert trend.at(30.0) == pytest.approx(18.0)
    bent = trend_of(xs, [*ys[:10], 900.0, *ys[11:]])
    assert bent is not None
    assert bent.slope == 0.5
    falling = trend_of(xs, [-y for y in ys])
    assert falling is not None
    assert falling.told == -1


def test_the_interval_holds_the_true_slope_as_often_as_it_says() -> None:
    rng = np.random.default_rng(7)
    xs = [float(n) for n in range(20)]
    held = 0
    for _ in range(400):
        trend = trend_of(xs, (0.1 * np.arange(20) + rng.standard_t(3, size=20)).tolist())
        assert trend is not None
        held += trend.low <= 0.1 <= trend.high
    # 95 % of 400 is 380, give or take 4.4: four of them to either side.
    assert 362 <= held <= 398


def test_too_few_or_all_at_once_tell_nothing() -> None:
    assert trend_of([1.0] * LEAST, [float(n) for n in range(LEAST)]) is None
    assert trend_of([1.0, 2.0], [1.0, 2.0]) is None
    with pytest.raises(ValueError, match="one x for each y"):
        trend_of([1.0], [])


def test_of_very_many_the_newest_count() -> None:
    xs = [float(n) for n in range(MOST + 100)]
    trend = trend_of(xs, [0.0] * 100 + [2.0 * x for x in xs[100:]])
    assert trend is not None
    assert (trend.count, trend.slope) == (MOST, 2.0)
