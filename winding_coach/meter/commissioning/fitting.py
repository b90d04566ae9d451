"""Pairs of figures in, a straight or bent line with its uncertainty out: ordinary least squares. Pure.

Uncertainty as in the Guide to the expression of uncertainty in measurement (JCGM 100:2008), example H.3: from the
scatter about the fitted line. numpy is slow to import: only what calibrates imports this module.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from winding_coach.base.errors import WrongFigures

LOWER_LIMIT_FACTOR = 2.4
"""ASTM E74 as quoted by a calibration laboratory: 2.4 standard deviations of the fit, in units of force."""


class FitError(WrongFigures):
    """Figures that give no line; the message is one sentence that says why."""


@dataclass(frozen=True, slots=True)
class Fit:
    """y = Σ coefficients[i]·(x − centre)^powers[i].

    covariance: of the coefficients. sd: of the points about the line, with `dof` degrees of freedom. residuals: y minus
    the line, in the order of the points.
    """

    powers: tuple[int, ...]
    centre: float
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    sd: float
    dof: int
    residuals: tuple[float, ...]

    def __call__(self, x: float) -> float:
        """Return the line's y."""
        off = x - self.centre
        return float(sum(c * off**p for c, p in zip(self.coefficients, self.powers, strict=True)))

    def sds(self) -> tuple[float, ...]:
        """Return the standard uncertainties of the coefficients."""
        return tuple(math.sqrt(self.covariance[i][i]) for i in range(len(self.powers)))

    def correlation(self, i: int, j: int) -> float:
        """Return the correlation of two coefficients."""
        sds = self.sds()
        return self.covariance[i][j] / (sds[i] * sds[j])

    def sd_at(self, x: float) -> float:
        """Return the standard uncertainty of the line at x (not of a single reading there)."""
        powers = [(x - self.centre) ** p for p in self.powers]
        variance = sum(
            powers[i] * self.covariance[i][j] * powers[j] for i in range(len(powers)) for j in range(len(powers))
        )
        return math.sqrt(max(variance, 0.0))


def fit(
    x: Sequence[float], y: Sequence[float], *, degree: int = 1, through_zero: bool = False, centre: float = 0.0
) -> Fit:
    """Return the least-squares polynomial of a degree, without its constant if it is to pass through (centre, 0).

    Raises:
        FitError: fewer points or different x than the line needs to be known with its uncertainty.
    """
    powers = tuple(range(1 if through_zero else 0, degree + 1))
    dof = len(x) - len(powers)
    if len(x) != len(y) or dof < 1:
        raise FitError(f"A line with {len(powers)} figures needs at least {len(powers) + 1} points.")
    off = np.asarray(x, dtype=float) - centre
    ys = np.asarray(y, dtype=float)
    if not (np.all(np.isfinite(off)) and np.all(np.isfinite(ys))):
        raise FitError("A point holds no number.")
    # Columns of like size keep the digits of the high powers.
    scale = float(np.max(np.abs(off))) or 1.0
    design = np.column_stack([(off / scale) ** p for p in powers])
    q, r = np.linalg.qr(design)
    diagonal = np.abs(np.diag(r))
    if float(np.min(diagonal)) <= 1e-12 * float(np.max(diagonal)):
        raise FitError("The points lie at too few different places for this line.")
    scaled = np.linalg.solve(r, q.T @ ys)
    residuals = ys - design @ scaled
    # One step of refinement: what rounding left in the residuals.
    scaled = scaled + np.linalg.solve(r, q.T @ residuals)
    residuals = ys - design @ scaled
    variance = float(residuals @ residuals) / dof
    inverse = np.linalg.inv(r)
    units = np.array([scale**p for p in powers])
    covariance = variance * (inverse @ inverse.T) / np.outer(units, units)
    return Fit(
        powers,
        centre,
        tuple(float(c) for c in scaled / units),
        tuple(tuple(float(v) for v in row) for row in covariance),
        math.sqrt(variance),
        dof,
        tuple(float(residual) for residual in residuals),
    )


@dataclass(frozen=True, slots=True)
class FTest:
    """A ratio of variances with its degrees of freedom, and how often chance alone makes one as large."""

    ratio: float
    dof_above: int
    dof_below: int
    chance: float


def _f_test(above: float, dof_above: int, below: float, dof_below: int) -> FTest:
    from scipy.stats import f

    # Points without any scatter: whatever is left above it is no chance.
    none_below = math.inf if above > 0.0 else 0.0
    ratio = (above / dof_above) / (below / dof_below) if below > 0.0 else none_below
    return FTest(ratio, dof_above, dof_below, float(f.sf(ratio, dof_above, dof_below)))


def lack_of_fit(x: Sequence[float], y: Sequence[float], line: Fit) -> FTest | None:
    """Return the test whether points miss the line by more than repeats at the same x scatter; None without repeats."""
    levels: dict[float, list[float]] = {}
    for place, value in zip(x, y, strict=True):
        levels.setdefault(place, []).append(value)
    pure_dof = len(x) - len(levels)
    lack_dof = len(levels) - len(line.powers)
    if pure_dof < 1 or lack_dof < 1:
        return None
    means = {place: math.fsum(values) / len(values) for place, values in levels.items()}
    pure = math.fsum((value - means[place]) ** 2 for place, value in zip(x, y, strict=True))
    lack = math.fsum(len(values) * (means[place] - line(place)) ** 2 for place, values in levels.items())
    return _f_test(lack, lack_dof, pure, pure_dof)


def better_with(simple: Fit, richer: Fit) -> FTest:
    """Return the test whether a richer line of the same points leaves less than chance lets it leave."""
    left_simple = math.fsum(r * r for r in simple.residuals)
    left_richer = math.fsum(r * r for r in richer.residuals)
    return _f_test(
        max(left_simple - left_richer, 0.0), len(richer.powers) - len(simple.powers), left_richer, richer.dof
    )


def lower_limit_of_use(sd_response: float, loads: Sequence[float], responses: Sequence[float]) -> float:
    """Return the lower limit of use, in units of load: 2.4 standard deviations of the fit (ASTM E74, as quoted).

    The mean ratio of load to response turns the one into the other; points without load or response have none.
    """
    ratios = [load / response for load, response in zip(loads, responses, strict=True) if load and response]
    if not ratios:
        raise FitError("Without a load there is no lower limit of use.")
    return LOWER_LIMIT_FACTOR * sd_response * abs(math.fsum(ratios) / len(ratios))
