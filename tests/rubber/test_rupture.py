"""Time under load, heat and age: the published form with assumed values; doubt is widened, nothing is moved."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

import numpy as np
import pytest

from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.rupture import WIND_S, doubt_of, doubted, stretch_for_time
from winding_coach.rubber.strength import StrengthPrior, Wound, strength_of

SENTENCE = r"^[A-Z0-9-][^\n]*: [^\n]*\.$"


def test_each_decade_of_time_weakens_by_the_same_share() -> None:
    """A power law of lifetime (as Zhurkov's near one stress): equal steps for 10 and 100 usual winds."""
    steps = [stretch_for_time(8.0, (10.0**n - 1.0) * WIND_S) / 8.0 for n in range(3)]
    assert steps == pytest.approx([1.01**n for n in range(3)], rel=1e-3)


def test_natural_rubber_held_near_its_end_for_an_hour_does_not_break_for_that() -> None:
    """Tosaka, Nippon Gomu Kyokaishi 84 (2011) 81: so an hour may cost a few per cent of stretch, not a fifth."""
    assert 1.0 < stretch_for_time(7.0, 3600.0) / 7.0 < 1.05
    assert DEFAULT_RUBBER.break_risk(stretch_for_time(7.5, 3600.0)) < 0.01


def test_heat_and_age_add_as_squares_and_widen_only() -> None:
    assert doubt_of(None, None) == doubt_of(21.0, 0.0) == 0.0
    assert doubt_of(31.0, None) == doubt_of(11.0, None) == pytest.approx(0.02)
    assert doubt_of(31.0, 4.0) == pytest.approx(math.hypot(0.02, 0.04))
    plain = strength_of(())
    wide = doubted(plain, 0.04)
    assert doubted(plain, 0.0) is plain
    assert wide.break_stretch.value == pytest.approx(plain.break_stretch.value, rel=0.005)
    # Normal with normal: standard deviations add as squares (three points keep the variance).
    mean = sum(w * math.log(m) for w, m in zip(wide.weights, wide.medians, strict=True))
    variance = sum(w * (math.log(m) - mean) ** 2 for w, m in zip(wide.weights, wide.medians, strict=True))
    assert math.sqrt(variance) == pytest.approx(math.hypot(0.03, 0.04), rel=0.01)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(FiguresError, match=SENTENCE):
        stretch_for_time(8.0, -1.0)
    for temperature_C, age_years in ((99.0, None), (None, -1.0)):
        with pytest.raises(FiguresError, match=SENTENCE):
            doubt_of(temperature_C, age_years)


def test_winds_planned_for_five_in_a_hundred_break_so_often() -> None:
    """4,300 batches drawn from the belief or wider, each known by none to eight earlier winds: evenly wound to the
    stretch at which 5 % are expected to break, 3 to 8 % break, also where batches differ more than believed."""
    draw, prior = random.Random(11), StrengthPrior()
    for median_sd, shape_sd, motors in ((0.03, 0.4, 0), (0.03, 0.4, 8), (0.04, 0.5, 4)):
        broke, n = 0.0, 150 if motors else 4000
        plan = _stretch_for(0.05, ())
        for _ in range(n):
            median = prior.median * math.exp(draw.gauss(0.0, median_sd))
            shape = prior.shape * math.exp(draw.gauss(0.0, shape_sd))
            wound: list[Wound] = []
            for _ in range(motors):
                strength = median * (-math.log(draw.random()) / math.log(2)) ** (1 / shape)
                reached = draw.uniform(8.6, 9.4)
                wound.append(Wound(min(strength, reached), strength <= reached))
            stretch = _stretch_for(0.05, wound) if motors else plan
            broke += 1.0 - 0.5 ** ((stretch / median) ** shape)
        assert 0.03 < broke / n < 0.08, (median_sd, motors)


def _stretch_for(risk: float, wound: Sequence[Wound]) -> float:
    strength = strength_of(wound)
    medians, shapes, weights = (np.array(one) for one in (strength.medians, strength.shapes, strength.weights))
    low, high = 6.0, 10.0
    for _ in range(18):
        middle = 0.5 * (low + high)
        expected = float(weights @ (1.0 - 0.5 ** ((middle / medians) ** shapes)))
        low, high = (low, middle) if expected > risk else (middle, high)
    return low
