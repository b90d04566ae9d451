"""Both edges of the limit warning, at every way of nearing it."""

import pytest

from winding_coach.base.units import OZF_IN_NM
from winding_coach.signals.limit import LimitPredictor

SCALE = 1.85 * OZF_IN_NM
LIMIT = 1.8 * OZF_IN_NM


def at(predictor: LimitPredictor, ozf_in: float, rate: float | None = 0.0) -> tuple[bool, bool, bool, float | None]:
    view = predictor.update(ozf_in * OZF_IN_NM, None if rate is None else rate * OZF_IN_NM, LIMIT)
    return view.coming, view.near, view.over, view.in_s


def test_far_and_level() -> None:
    assert at(LimitPredictor(SCALE), 1.0) == (False, False, False, None)


def test_seconds_to_the_limit() -> None:
    coming, near, over, in_s = at(LimitPredictor(SCALE), 1.4, 0.1)
    assert (coming, near, over) == (True, False, False)
    assert in_s == pytest.approx(4.0)


def test_fires_at_one_deviation_and_clears_lower() -> None:
    # spread √(.02² + (.012·6)²) = .07473 ozf·in: fires at 1.8 + .07473, clears at 1.8 + .3·.07473 expected in 6 s
    predictor = LimitPredictor(SCALE)
    assert not at(predictor, 1.5, (0.3 + 0.074) / 6)[0]
    assert at(predictor, 1.5, (0.3 + 0.0755) / 6)[0]
    assert at(predictor, 1.5, (0.3 + 0.0235) / 6)[0]
    assert not at(predictor, 1.5, (0.3 + 0.0215) / 6)[0]


def test_the_hard_margin_needs_no_rate_and_has_two_edges() -> None:
    predictor = LimitPredictor(SCALE)
    assert at(predictor, 1.69, None)[:2] == (False, False)
    assert at(predictor, 1.71, None)[:2] == (True, True)
    assert at(predictor, 1.67, -0.1)[:2] == (True, True)
    assert at(predictor, 1.65, -0.1)[:2] == (False, False)


def test_over() -> None:
    assert at(LimitPredictor(SCALE), 1.81, 0.05) == (True, True, True, 0.0)


def test_hardly_rising_is_no_forecast() -> None:
    assert at(LimitPredictor(SCALE), 1.0, 1e-5)[3] is None


def test_reset() -> None:
    predictor = LimitPredictor(SCALE)
    at(predictor, 1.71)
    predictor.reset()
    assert at(predictor, 1.69, None)[0] is False
