"""The strength of a batch against published examples, and its intervals against simulated batches."""

from __future__ import annotations

import csv
import math
import random
from pathlib import Path

import pytest
import scipy.stats

from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.strength import (
    Strength,
    StrengthPrior,
    Wound,
    fit_weibull,
    kaplan_meier,
    strength_of,
)


def example(name: str) -> tuple[list[float], list[bool]]:
    """Published censored data by the name of the set."""
    with (Path(__file__).parent / "data" / "survival_examples.csv").open() as file:
        lines = (line for line in file if not line.startswith("#"))
        rows = [row for row in csv.DictReader(lines) if row["set"] == name]
    return [float(row["time"]) for row in rows], [row["event"] == "1" for row in rows]


def test_weibull_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 8.4.1.3: ten failures, ten censored at 500: η 606.5280, β 1.7208.

    Its η stands off the true maximum by 7e-7, as scipy finds too.
    """
    values, broke = example("ehandbook_8.4.1.3")
    assert len(values) == 20
    fit = fit_weibull(values, broke)
    assert fit.scale == pytest.approx(606.5280, rel=1e-6)
    assert fit.shape == pytest.approx(1.7208, abs=5e-5)
    assert fit.quantile(0.10) == pytest.approx(164.022, abs=5e-4)
    assert fit.quantile(0.50) == pytest.approx(490.174, abs=5e-4)
    assert fit.risk(fit.scale) == pytest.approx(1 - math.exp(-1))
    assert fit.risk(0) == 0


def test_weibull_of_scipy() -> None:
    """scipy.stats fits the same censored data to the same maximum."""
    values, broke = example("ehandbook_8.4.1.3")
    failed = [v for v, b in zip(values, broke, strict=True) if b]
    data: scipy.stats.CensoredData = scipy.stats.CensoredData(
        failed, right=[v for v, b in zip(values, broke, strict=True) if not b]
    )
    shape, _, scale = scipy.stats.weibull_min.fit(data, floc=0)
    fit = fit_weibull(values, broke)
    assert (fit.shape, fit.scale) == pytest.approx((shape, scale), rel=1e-6)


def test_weibull_does_not_mind_the_unit() -> None:
    values, broke = example("ehandbook_8.4.1.3")
    fit = fit_weibull([1e-3 * v for v in values], broke)
    assert (fit.scale, fit.shape) == pytest.approx((0.6065276, 1.720797), rel=1e-6)


def test_data_that_cannot_tell_are_refused() -> None:
    for values, broke in (([], []), ([9.0, 9.1], [True, False]), ([9.0, 9.0], [True, True])):
        with pytest.raises(FiguresError, match=r"^[^\n]*: [^\n]*\.$"):
            fit_weibull(values, broke)


def test_survival_curve_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 8.2.1.5: 20 units, failures and mixed censoring."""
    curve = kaplan_meier(*example("ehandbook_8.2.1.5"))
    assert [step.value for step in curve] == [10, 32, 56, 98, 122, 181]
    surviving = [round(step.surviving, 6) for step in curve]
    assert surviving == [0.95, 0.90, 0.847059, 0.794118, 0.737395, 0.670359]
    assert curve[2].at_risk == 17


def test_survival_curve_with_ties() -> None:
    """6-MP group of Freireich et al. (1963), product-limit estimates as in many textbooks (from memory)."""
    curve = kaplan_meier(*example("6MP_leukemia"))
    assert [(step.value, step.at_risk, step.broke) for step in curve[:2]] == [(6, 21, 3), (7, 17, 1)]
    assert [round(step.surviving, 3) for step in curve] == [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]
    assert kaplan_meier([9.0], [False]) == ()


def test_the_prior_alone() -> None:
    strength = strength_of([])
    assert strength.break_stretch.value == pytest.approx(9.61, rel=1e-3)
    # 90 % of a normal distribution lies within 1.645 standard deviations.
    assert math.log(strength.break_stretch.high / strength.break_stretch.low) == pytest.approx(
        2 * 1.645 * 0.03, rel=0.02
    )
    assert math.log(strength.break_shape.high / strength.break_shape.low) == pytest.approx(2 * 1.645 * 0.4, rel=0.02)
    assert (strength.breaks, strength.survivors) == (0, 0)


def test_one_break_does_not_mislead_and_three_help() -> None:
    """A nicked motor at 8.0 moves the median by less than a sixth of the way; three at about 9.05 by over three
    quarters."""
    nicked = strength_of([Wound(8.0, True)]).break_stretch.value
    assert 0 < (9.61 - nicked) / (9.61 - 8.0) < 1 / 6
    three = strength_of([Wound(9.0, True), Wound(9.2, True), Wound(8.95, True)])
    assert 0.75 < (9.61 - three.break_stretch.value) / (9.61 - 9.05) < 1
    prior = strength_of([])
    assert width(three) < 0.6 * width(prior)


def width(strength: Strength) -> float:
    return strength.break_stretch.high - strength.break_stretch.low


def test_survivors_are_information() -> None:
    risk = [strength_of([Wound(9.0, False)] * n).risk(9.0).value for n in (0, 3, 30)]
    assert risk[0] > risk[1] > risk[2] > 0
    # Far beyond the believed strength, survivors must move it: the grid follows.
    assert strength_of([Wound(10.5, False)] * 20).break_stretch.value > 10.5


def test_many_breaks_outweigh_the_prior() -> None:
    """A hundred breaks: the fit by maximum likelihood, to within what the prior still weighs."""
    draw = random.Random(11)
    stretches = [9.0 * (-math.log(draw.random()) / math.log(2)) ** (1 / 38) for _ in range(100)]
    fit = fit_weibull(stretches, [True] * 100)
    strength = strength_of([Wound(s, True) for s in stretches])
    assert strength.break_stretch.value == pytest.approx(fit.quantile(0.5), rel=1e-3)
    assert strength.break_shape.value == pytest.approx(fit.shape, rel=0.03)
    assert strength.risk(8.7).value == pytest.approx(fit.risk(8.7), rel=0.1)


def test_risk_and_stretch_for_a_risk_go_together() -> None:
    strength = strength_of([Wound(9.3, True), Wound(9.0, False)])
    wanted = strength.stretch_for_risk(0.05)
    assert wanted.low < wanted.value < wanted.high
    at_cautious = strength.risk(wanted.low)
    assert at_cautious.low < at_cautious.value < 0.05
    assert at_cautious.high == pytest.approx(0.05, rel=0.02)
    assert strength.risk(0.0).value == 0
    assert strength.risk(100.0).value == pytest.approx(1)


@pytest.mark.no_cover
def test_the_interval_of_risk_covers_as_stated() -> None:
    """Stated 90 %: 200 batches of five motors drawn from the prior, wound to 86-101 % of the median stretch.

    Between 84 and 96 % of the intervals hold the true risk: three standard deviations of such a count.
    """
    draw = random.Random(3)
    prior = StrengthPrior()
    held = 0
    for _ in range(200):
        median = prior.median * math.exp(draw.gauss(0, prior.median_sd_log))
        shape = prior.shape * math.exp(draw.gauss(0, prior.shape_sd_log))
        wound = []
        for _ in range(5):
            strength = median * (-math.log(draw.random()) / math.log(2)) ** (1 / shape)
            reached = draw.uniform(8.3, 9.7)
            wound.append(Wound(min(strength, reached), strength <= reached))
        interval = strength_of(wound, prior).risk(9.0)
        held += interval.low <= 1 - 0.5 ** ((9.0 / median) ** shape) <= interval.high
    assert 0.84 <= held / 200 <= 0.96


@pytest.mark.parametrize("stretch", [0.5, 25.0, math.nan])
def test_impossible_stretches_are_refused(stretch: float) -> None:
    with pytest.raises(FiguresError, match=r": check "):
        strength_of([Wound(stretch, True)])
