"""Bins of torque and the crank period in; how likely it is that the handle stands, from torque alone, out.

A logistic score on how much of the usual ripple is left in the last 0.4, 0.7 and 1.0 turns. Fitted to synthetic
winds (see tests/bench). Where the ripple is less than twice the noise it says nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import accumulate, islice
from operator import mul

from winding_coach.signals.tuning import (
    RIPPLE_DOWN_S,
    RIPPLE_LEAST,
    RIPPLE_SCORE,
    RIPPLE_SMOOTH_S,
    RIPPLE_TURNS,
    RIPPLE_UP_S,
    STALL_OFF,
    STALL_ON,
    STUCK_SAMPLES,
)

_WINDOW = 24  # bins of 50 ms over which the ripple is measured
_LONGEST = 40
_SHORTEST = 4
_COUNT = tuple(float(i) for i in range(_LONGEST))
_NOISE_S = 3.0
# Mean |second difference| of white noise to its standard deviation: √6·√(2/π); 1.05 for what the clip takes off
_TO_SD = 1.05 * math.sqrt(math.pi / 2) / math.sqrt(6)


class RippleWatch:
    """`score` after each bin: log odds that the handle stands, smoothed, None where torque cannot tell.

    `standing` is the score with two thresholds. `ratio`: ripple (rms) over the noise of a bin.
    """

    def __init__(self, lines_per_s: float, tick_hz: float) -> None:
        self._noise_gain = 1.0 / (_NOISE_S * lines_per_s)
        self._to_bin = _TO_SD / math.sqrt(max(lines_per_s / tick_hz, 1.0))
        self._up, self._down = (-math.expm1(-1.0 / (tick_hz * s)) for s in (RIPPLE_UP_S, RIPPLE_DOWN_S))
        self._smooth = -math.expm1(-1.0 / (tick_hz * RIPPLE_SMOOTH_S))
        self._tick_hz = tick_hz
        self.reset()

    def reset(self) -> None:
        self._samples = 0
        self._before = self._before_that = 0.0
        self._roughness = 0.0
        self._same = 0
        self._ripple = 0.0
        self._smoothed: float | None = None
        self.score: float | None = None
        self.standing: bool | None = None
        self.ratio = 0.0

    def forget(self) -> None:
        """There is too little torque to say anything; the noise is kept."""
        self.score = self.standing = self._smoothed = None

    def sample(self, torque_Nm: float) -> None:
        """Take a gated sample: its second difference tells the noise."""
        self._samples += 1
        self._same = self._same + 1 if torque_Nm == self._before else 0
        if self._samples > 2:
            rough = abs(torque_Nm - 2.0 * self._before + self._before_that)
            mean = self._roughness
            if self._samples > 20 and rough > 4.0 * mean:
                rough = 4.0 * mean
            self._roughness = mean + (rough - mean) * max(self._noise_gain, 1.0 / (self._samples - 2))
        self._before_that, self._before = self._before, torque_Nm

    @property
    def noise_of_bin(self) -> float:
        """Standard deviation of a bin's mean by noise alone."""
        return self._roughness * self._to_bin

    @property
    def stuck(self) -> bool:
        """The meter sends one and the same figure: it tells nothing."""
        return self._same > STUCK_SAMPLES

    def tick(self, bins: Iterable[float], period_s: float) -> None:
        """Take the newest bins (newest first, at least 40) and the crank period as far as it is known."""
        torques = list(islice(bins, _LONGEST))
        newest = torques[0]
        off = [torque - newest for torque in torques]
        sums = list(accumulate(off))
        moments = list(accumulate(map(mul, off, _COUNT)))
        squares = list(accumulate(map(mul, off, off)))
        mean = newest + sums[15] / 16.0
        noise2 = self.noise_of_bin**2 + 1e-30
        left = _line(_WINDOW, sums, moments, squares)
        ripple = math.sqrt(max(left - noise2, 0.0)) / max(mean, 1e-30)
        self._ripple += (ripple - self._ripple) * (self._up if ripple > self._ripple else self._down)
        usual2 = (self._ripple * mean) ** 2
        self.ratio = math.sqrt(usual2 / noise2)
        if self.ratio < (0.8 * RIPPLE_LEAST if self.score is not None else RIPPLE_LEAST):
            self.forget()
            return
        if self.stuck:
            self.forget()
            return
        self.score = score = self._smooth_score(self._raw_score(sums, moments, squares, usual2, noise2, period_s))
        self.standing = score > (STALL_OFF if self.standing else STALL_ON)

    def _raw_score(
        self,
        sums: list[float],
        moments: list[float],
        squares: list[float],
        usual2: float,
        noise2: float,
        period_s: float,
    ) -> float:
        weights = RIPPLE_SCORE
        clear = math.log1p(usual2 / noise2)
        log_period = math.log(period_s)
        score = weights.constant + weights.clear * clear + weights.period * log_period
        for turns, alone, with_clear in zip(RIPPLE_TURNS, weights.left, weights.left_clear, strict=True):
            width = min(max(round(period_s * turns * self._tick_hz), _SHORTEST), _LONGEST)
            left = _line(width, sums, moments, squares)
            left = math.log(max(left, 1e-30) / (usual2 + noise2))
            score += left * (alone + with_clear * clear)
        return score + weights.turn_period * left * log_period

    def _smooth_score(self, score: float) -> float:
        score = min(max(score, -12.0), 12.0)
        before = -5.0 if self._smoothed is None else self._smoothed
        self._smoothed = before + (score - before) * self._smooth
        return self._smoothed


def _line(n: int, sums: list[float], moments: list[float], squares: list[float]) -> float:
    """Residual variance about the least-squares line through the n newest bins."""
    total = sums[n - 1]
    spread = n * (n * n - 1) / 12.0
    along = moments[n - 1] - 0.5 * (n - 1) * total
    return max(squares[n - 1] - total * total / n - along * along / spread, 0.0) / (n - 2)
