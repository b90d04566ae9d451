"""95 % intervals: of a rate, a share, a quantile, and of anything by drawing whole streams again."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.stats import beta, binom, chi2


def rate(events: int, hours: float) -> tuple[float, float, float]:
    """Return events an hour and the exact interval of Garwood (1936) for a Poisson count."""
    if hours <= 0.0:
        return float("nan"), float("nan"), float("nan")
    low = float(chi2.ppf(0.025, 2 * events)) / 2.0 if events else 0.0
    return events / hours, low / hours, float(chi2.ppf(0.975, 2 * events + 2)) / 2.0 / hours


def share(hits: int, of: int) -> tuple[float, float, float]:
    """Return a share and the exact interval of Clopper & Pearson (1934)."""
    if not of:
        return float("nan"), float("nan"), float("nan")
    low = float(beta.ppf(0.025, hits, of - hits + 1)) if hits else 0.0
    high = float(beta.ppf(0.975, hits + 1, of - hits)) if hits < of else 1.0
    return hits / of, low, high


def quantile(values: Sequence[float], q: float) -> tuple[float, float, float]:
    """Return a quantile and the interval of the order statistics around it; infinite values are allowed."""
    ordered = sorted(values)
    n = len(ordered)
    if not n:
        return float("nan"), float("nan"), float("nan")
    low = max(int(binom.ppf(0.025, n, q)) - 1, 0)
    high = min(int(binom.ppf(0.975, n, q)), n - 1)
    return ordered[min(int(q * n), n - 1)], ordered[low], ordered[high]


def over_streams(n: int, value: Callable[[np.ndarray], float], times: int = 300) -> tuple[float, float, float]:
    """Return a value of all streams and its interval when whole streams are drawn again (Efron 1979).

    value: of how often each of the n streams is counted.
    """
    random = np.random.default_rng(n)
    again = [value(np.bincount(random.integers(0, n, n), minlength=n).astype(np.float64)) for _ in range(times)]
    low, high = np.nanpercentile(again, [2.5, 97.5])
    return value(np.ones(n)), float(low), float(high)
