"""Figures in their order in time, whether and how fast they change out: a slope that few odd winds cannot bend. Pure.

Slope: the median of the slopes between all pairs (Theil 1950, Sen 1968); interval from the spread of Kendall's tau
(Sen 1968, with the correction for ties). The tests hold both against `scipy.stats.theilslopes`, which takes a second
to import and so is not used here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

LEVEL = 0.95
LEAST = 6
"""Fewer winds tell no trend: with five the interval of 95 % is all slopes but none; our own rule."""
MOST = 500
"""Of more winds the newest are taken: pairs go with the square."""


@dataclass(frozen=True, slots=True)
class Trend:
    """slope: per step of x, from low to high with the chance `LEVEL`. middle: the line passes the medians."""

    slope: float
    low: float
    high: float
    count: int
    middle_x: float
    middle_y: float

    @property
    def told(self) -> int:
        """1: rises. -1: falls. 0: the interval holds zero, so no trend can be told."""
        return (self.low > 0.0) - (self.high < 0.0)

    def at(self, x: float) -> float:
        """Return the line's value."""
        return self.middle_y + self.slope * (x - self.middle_x)


def trend_of(xs: Sequence[float], ys: Sequence[float], level: float = LEVEL) -> Trend | None:
    """Return the trend of figures, None where they are too few or all at one x.

    Later winds lean on earlier ones (a motor, a day), which the interval does not know: it is on the narrow side.
    """
    if len(xs) != len(ys):
        raise ValueError("a trend needs one x for each y")
    if len(xs) < LEAST:
        return None
    x, y = np.asarray(xs[-MOST:], dtype=float), np.asarray(ys[-MOST:], dtype=float)
    count = len(x)
    first, second = np.triu_indices(count, 1)
    across, up = x[second] - x[first], y[second] - y[first]
    slopes = up[across != 0.0] / across[across != 0.0]
    pairs = len(slopes)
    if pairs == 0:
        return None
    variance = count * (count - 1) * (2 * count + 5) - _ties(x) - _ties(y)
    reach = NormalDist().inv_cdf(0.5 + 0.5 * level) * math.sqrt(max(variance, 0.0) / 18.0)
    upper = min(round((pairs + reach) / 2.0), pairs - 1)
    lower = max(round((pairs - reach) / 2.0) - 1, 0)
    half = pairs // 2
    slopes = np.partition(slopes, sorted({lower, upper, half, max(half - 1, 0)}))
    middle = slopes[half] if pairs % 2 else 0.5 * (slopes[half - 1] + slopes[half])
    return Trend(
        float(middle),
        float(slopes[lower]),
        float(slopes[upper]),
        count,
        float(np.median(x)),
        float(np.median(y)),
    )


def _ties(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> int:
    _, counts = np.unique(values, return_counts=True)
    return int(sum(k * (k - 1) * (2 * k + 5) for k in counts.tolist()))
