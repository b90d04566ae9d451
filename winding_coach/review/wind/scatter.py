"""A batch's measured strips and logged winds in, how much they scatter out, and what that scatter can tell. Pure."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

LEVEL = 0.95
POWER = 0.80
"""A difference counts as told when four tests in five would find it."""


@dataclass(frozen=True, slots=True)
class Densities:
    """Linear densities of single strips, kg/m. sd: from strip to strip; low, high: interval of the mean."""

    count: int
    mean: float
    sd: float
    low: float
    high: float

    @property
    def cv(self) -> float:
        """Scatter over the mean."""
        return self.sd / self.mean

    def strips_to_tell(self, difference: float) -> int:
        """Return how many strips of each of two batches tell such a difference of their means apart.

        n = 2 ((z₁₋α/₂ + z_power) σ/δ)², the usual sample size for two means with one known scatter (see for one the
        NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.2.2); two at least.
        """
        normal = NormalDist()
        reach = normal.inv_cdf(0.5 + 0.5 * LEVEL) + normal.inv_cdf(POWER)
        return max(2, math.ceil(2.0 * (reach * self.sd / difference) ** 2))


def densities_of(values: Sequence[float]) -> Densities | None:
    """Return mean and scatter of measured strips, None for fewer than two. The interval is Student's."""
    if len(values) < 2:
        return None
    from scipy.special import stdtrit

    mean, sd = statistics.mean(values), statistics.stdev(values)
    reach = float(stdtrit(len(values) - 1, 0.5 + 0.5 * LEVEL)) * sd / math.sqrt(len(values))
    return Densities(len(values), mean, sd, mean - reach, mean + reach)
