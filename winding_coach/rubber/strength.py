"""Breaks and survivals in, the strength of a batch out: risk at a stretch, stretch for a risk, with intervals.

A motor that did not break is information too (right-censored). The measure is strand stretch, so that motors of
different length and density pool by the turns law; turns follow from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from winding_coach.rubber.figures import FiguresError
from winding_coach.rubber.law import DEFAULT_RUBBER
from winding_coach.rubber.table import table

LEVEL = 0.90
"""Of the intervals stated."""
FIRST_GRID = (81, 41)
GRID = (61, 41)
GRID_REACH = 4.5
"""The grid of medians and shapes reaches this many standard deviations to either side."""


@dataclass(frozen=True, slots=True)
class Wound:
    """How far one motor was wound. stretch: largest strand stretch at its loosest knots. broke: it broke there.

    by_law: the same under each law of `rubber.looseness`, where its steps were followed.
    """

    stretch: float
    broke: bool
    by_law: tuple[float, float, float] | None = None

    def under(self, law: int) -> Wound:
        """Return the same motor by one law, as it is where its steps were not followed."""
        return self if self.by_law is None else Wound(self.by_law[law], self.broke)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure and the interval that holds it with the chance `LEVEL`."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class WeibullFit:
    """Weibull by maximum likelihood. scale: 63.2 % have failed there. shape: free of unit."""

    scale: float
    shape: float

    def risk(self, value: float) -> float:
        """Return the share that has failed at a value."""
        return -math.expm1(-((value / self.scale) ** self.shape)) if value > 0.0 else 0.0

    def quantile(self, risk: float) -> float:
        """Return the value at which this share (0-1) has failed."""
        return float(self.scale * (-math.log1p(-risk)) ** (1.0 / self.shape))


def fit_weibull(values: Sequence[float], broke: Sequence[bool]) -> WeibullFit:
    """Return the maximum-likelihood fit to failures and right-censored values, all above 0.

    The likelihood of the scale is solved in closed form, that of the shape by bisection (it is monotone):
    Σ xᵏ ln x / Σ xᵏ − 1/k = mean of ln x over the failures.

    Raises:
        FiguresError: fewer than two failures, or nothing differs, so that the data cannot tell the shape.
    """
    failed = [math.log(value) for value, failure in zip(values, broke, strict=True) if failure]
    if len(failed) < 2:
        raise FiguresError(
            f"{len(failed)} broken motors cannot show how strength scatters: log two breaks at least, or use the prior."
        )
    logs = [math.log(value) for value in values]
    top = max(logs)
    mean_failed = sum(failed) / len(failed)

    def excess(shape: float) -> float:
        weights = [math.exp(shape * (log - top)) for log in logs]
        mean = sum(w * log for w, log in zip(weights, logs, strict=True)) / sum(weights)
        return mean - 1.0 / shape - mean_failed

    low, high = 1e-3, 1e5
    if excess(high) <= 0.0:
        raise FiguresError("All motors broke at the same place: log breaks that differ before fitting their scatter.")
    for _ in range(200):
        middle = math.sqrt(low * high)
        if excess(middle) < 0.0:
            low = middle
        else:
            high = middle
    shape = math.sqrt(low * high)
    total = sum(math.exp(shape * (log - top)) for log in logs)
    return WeibullFit(scale=math.exp(top + math.log(total / len(failed)) / shape), shape=shape)


@dataclass(frozen=True, slots=True)
class Survival:
    """One step of the survival curve: at `value`, of `at_risk` motors `broke` broke; `surviving` is left (0-1)."""

    value: float
    at_risk: int
    broke: int
    surviving: float


def kaplan_meier(values: Sequence[float], broke: Sequence[bool]) -> tuple[Survival, ...]:
    """Return the product-limit curve (Kaplan & Meier 1958). A motor censored where another breaks counts as at risk."""
    curve: list[Survival] = []
    surviving = 1.0
    for value in sorted({value for value, failure in zip(values, broke, strict=True) if failure}):
        at_risk = sum(v >= value for v in values)
        failures = sum(f and v == value for v, f in zip(values, broke, strict=True))
        surviving *= 1.0 - failures / at_risk
        curve.append(Survival(value, at_risk, failures, surviving))
    return tuple(curve)


@dataclass(frozen=True, slots=True)
class StrengthPrior:
    """What is believed of a batch before its first break. median_sd_log: batches differ by 3 % in strand stretch,
    4.5 % in turns (assumed). shape_sd_log: of the scatter within a batch (assumed)."""

    median: float = DEFAULT_RUBBER.break_stretch
    median_sd_log: float = 0.03
    shape: float = DEFAULT_RUBBER.break_shape
    shape_sd_log: float = 0.4


@dataclass(frozen=True, slots=True)
class Strength:
    """What is known of a batch's strength: weights over medians and shapes, prior and data together.

    breaks, survivors: how many motors it rests on.
    """

    medians: tuple[float, ...]
    shapes: tuple[float, ...]
    weights: tuple[float, ...]
    breaks: int
    survivors: int

    @property
    def break_stretch(self) -> Estimate:
        """Strand stretch at which half of the motors have broken."""
        return self._estimate(self.medians)

    @property
    def break_shape(self) -> Estimate:
        """Weibull shape in strand stretch."""
        return self._estimate(self.shapes)

    def risk(self, stretch: float) -> Estimate:
        """Return the chance (0-1) that the next motor breaks at or below a strand stretch.

        The value is the average over what is not known, so it is what a careful person should bet on.
        """
        risks = [
            -math.expm1(-math.log(2.0) * min(stretch / median, 2.0) ** shape)
            for median, shape in zip(self.medians, self.shapes, strict=True)
        ]
        middle = self._estimate(risks)
        return Estimate(sum(r * w for r, w in zip(risks, self.weights, strict=True)), middle.low, middle.high)

    def stretch_for_risk(self, risk: float) -> Estimate:
        """Return the strand stretch that breaks this share (0-1) of the motors; its low end is the cautious one."""
        level = -math.log1p(-risk) / math.log(2.0)
        return self._estimate(
            [median * level ** (1.0 / shape) for median, shape in zip(self.medians, self.shapes, strict=True)]
        )

    def _estimate(self, figures: Sequence[float]) -> Estimate:
        total: dict[float, float] = {}
        for figure, weight in zip(figures, self.weights, strict=True):
            total[figure] = total.get(figure, 0.0) + weight
        marks = sorted(total)
        # A grid point stands for the cell around it: half of its weight lies below.
        reached = list(accumulate(total[mark] for mark in marks))
        quantiles = table([sum_ - total[mark] / 2.0 for mark, sum_ in zip(marks, reached, strict=True)], marks)
        return Estimate(quantiles.at(0.5), quantiles.at((1.0 - LEVEL) / 2.0), quantiles.at((1.0 + LEVEL) / 2.0))


def strength_of(wound: Sequence[Wound], prior: StrengthPrior | None = None) -> Strength:
    """Return the strength of a batch from the winds of its motors; without winds, the prior alone.

    Bayes on a grid, laid out a second time around what the first found.

    Raises:
        FiguresError: a strand stretch that no wound motor has.
    """
    prior = prior or StrengthPrior()
    if not all(1.0 < w.stretch < 2.0 * prior.median for w in wound):
        raise FiguresError("A strand stretch of a logged wind cannot be: check its turns, distance and motor.")
    median_at = (math.log(prior.median), max(0.2, 5.0 * prior.median_sd_log) / GRID_REACH)
    shape_at = (math.log(prior.shape), prior.shape_sd_log)
    _, median_at, shape_at = _weighed(wound, prior, median_at, shape_at, FIRST_GRID)
    grid, _, _ = _weighed(wound, prior, median_at, shape_at, GRID)
    breaks = sum(w.broke for w in wound)
    medians, shapes, weights = zip(*grid, strict=True)
    return Strength(medians, shapes, weights, breaks, len(wound) - breaks)


_Moments = tuple[float, float]


def _weighed(
    wound: Sequence[Wound], prior: StrengthPrior, median_at: _Moments, shape_at: _Moments, size: tuple[int, int]
) -> tuple[list[tuple[float, float, float]], _Moments, _Moments]:
    """Return (median, shape, weight) over a grid, and mean and standard deviation of both logarithms."""
    median_logs, shape_logs = _spaced(median_at, size[0]), _spaced(shape_at, size[1])
    logs = [math.log(w.stretch) for w in wound]
    failed = sum(w.broke for w in wound)
    failed_logs = sum(math.log(w.stretch) for w in wound if w.broke)
    top_log = max(logs, default=0.0)
    log_posterior: list[tuple[float, float, float]] = []
    for shape_log in shape_logs:
        shape = math.exp(shape_log)
        powers = sum(math.exp(shape * (log - top_log)) for log in logs)
        believed = -0.5 * ((shape_log - math.log(prior.shape)) / prior.shape_sd_log) ** 2
        for median_log in median_logs:
            # ln f = ln(k ln2) + k(ln x − ln m) + … ; ln S = −ln2·(x/m)ᵏ; what does not depend on m or k is left out.
            fit = failed * shape_log + shape * (failed_logs - failed * median_log)
            fit -= math.log(2.0) * powers * math.exp(min(shape * (top_log - median_log), 500.0))
            fit -= 0.5 * ((median_log - math.log(prior.median)) / prior.median_sd_log) ** 2
            log_posterior.append((median_log, shape_log, fit + believed))
    top = max(fit for _, _, fit in log_posterior)
    weights = [math.exp(fit - top) for _, _, fit in log_posterior]
    total = sum(weights)
    grid = [
        (math.exp(median_log), math.exp(shape_log), weight / total)
        for (median_log, shape_log, _), weight in zip(log_posterior, weights, strict=True)
    ]
    return (
        grid,
        _moments([row[0] for row in log_posterior], weights, total),
        _moments([row[1] for row in log_posterior], weights, total),
    )


def _spaced(around: _Moments, count: int) -> list[float]:
    mean, sd = around
    return [mean + GRID_REACH * sd * (2.0 * i / (count - 1) - 1.0) for i in range(count)]


def _moments(figures: Sequence[float], weights: Sequence[float], total: float) -> _Moments:
    mean = sum(f * w for f, w in zip(figures, weights, strict=True)) / total
    variance = sum((f - mean) ** 2 * w for f, w in zip(figures, weights, strict=True)) / total
    return mean, math.sqrt(variance)
