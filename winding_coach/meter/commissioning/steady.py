"""Readings in; the mean of a stretch in which they stood still out: what swings or creeps is waited for. Pure."""

from __future__ import annotations

import math
import statistics
from collections import deque
from dataclasses import dataclass

from winding_coach.meter.reader import TorqueSample

STEADY_FOR_S = 2.0
FEWEST_READINGS = 16
SWING_FACTOR = 2.0
"""Scatter about the mean above this many times the noise from one reading to the next is a swing; assumed."""
MOVED_FACTOR = 4.0
"""Standard deviations by which the two halves may differ."""
STRAIGHT_FROM = 0.8
"""Share of the movement that a straight line takes off from which it is a drift and no swing; assumed."""
MOST_KEPT = 4000
FLOOR_COUNTS = 30.0
"""A movement below this does not matter: 0.4 µN·m of a 100 g cell on a 30 mm arm; assumed."""


@dataclass(frozen=True, slots=True)
class Plateau:
    """A steady stretch: mean and standard deviation of its readings in counts, how many, and whether any was at the
    end of the converter's range."""

    counts: float
    sd_counts: float
    readings: int
    saturated: bool


class SteadyWatch:
    """`add` takes samples and returns a plateau once the newest two seconds of them stand still."""

    def __init__(self, steady_for_s: float = STEADY_FOR_S) -> None:
        self._for_s = steady_for_s
        self._newest: deque[tuple[float, float, bool]] = deque()
        self._since: deque[tuple[float, float]] = deque(maxlen=MOST_KEPT)

    def restart(self) -> None:
        """Forget what came so far: another weight hangs."""
        self._newest.clear()
        self._since.clear()

    @property
    def drift_per_min(self) -> float | None:
        """By how many counts a minute all readings since the last weight drift, if they lie near a straight line."""
        if len(self._since) < FEWEST_READINGS:
            return None
        times, values = [at_s for at_s, _ in self._since], [raw for _, raw in self._since]
        try:
            if statistics.correlation(times, values) ** 2 < STRAIGHT_FROM:
                return None
        except statistics.StatisticsError:
            return None
        return 60.0 * statistics.linear_regression(times, values).slope

    def add(self, sample: TorqueSample) -> Plateau | None:
        """Take a sample; return a plateau if there is one now."""
        if sample.restarted:
            self._newest.clear()
        if sample.raw is None or sample.settling:
            return None
        kept = self._newest
        self._since.append((sample.device_s, float(sample.raw)))
        kept.append((sample.device_s, float(sample.raw), sample.saturated))
        if kept[-1][0] - kept[0][0] < self._for_s:
            return None
        values = [raw for _, raw, _ in kept]
        found = None
        if len(values) >= FEWEST_READINGS and _still(values):
            mean = math.fsum(values) / len(values)
            sd = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))
            found = Plateau(mean, sd, len(values), any(saturated for _, _, saturated in kept))
        while kept and kept[-1][0] - kept[0][0] >= self._for_s:
            kept.popleft()
        return found


def _still(values: list[float]) -> bool:
    half = len(values) // 2
    early, late = values[:half], values[half:]
    # A second difference of white noise has √6 times its deviation, and no drift in it.
    second = [a - 2.0 * b + c for a, b, c in zip(values, values[1:], values[2:], strict=False)]
    noise = math.sqrt(math.fsum(d * d for d in second) / (6.0 * len(second)))
    moved = abs(math.fsum(late) / len(late) - math.fsum(early) / len(early))
    mean = math.fsum(values) / len(values)
    spread = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))
    return moved <= max(MOVED_FACTOR * noise * 2.0 / math.sqrt(len(values)), FLOOR_COUNTS) and spread <= max(
        SWING_FACTOR * noise, FLOOR_COUNTS
    )
