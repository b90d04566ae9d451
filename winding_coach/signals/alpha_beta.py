"""The alpha-beta filter: a level and its rate from evenly spaced measurements.

Gains for a rate lag of τ ticks: ρ = τ/(1+τ), α = 1 − ρ², β = 2(1 − ρ)² (critically damped; Benedict & Bordner
1962, Kalata 1984 for the tracking index). It starts as the growing least-squares line and never divides by time.
"""

from __future__ import annotations

import math


def gains_for_lag(lag_ticks: float) -> tuple[float, float]:
    """(α, β) of the critically damped filter whose rate lags by so many ticks."""
    rho = lag_ticks / (1.0 + lag_ticks)
    return 1.0 - rho * rho, 2.0 * (1.0 - rho) ** 2


def gains_for_index(tracking_index: float) -> tuple[float, float]:
    """(α, β) of the steady Kalman filter with this tracking index Λ = T²·σ_acceleration/σ_measurement (Kalata 1984)."""
    damping = (4.0 + tracking_index - math.sqrt(8.0 * tracking_index + tracking_index**2)) / 4.0
    alpha = 1.0 - damping * damping
    return alpha, 2.0 * (2.0 - alpha) - 4.0 * math.sqrt(1.0 - alpha)


def start_gains(n: int) -> tuple[float, float]:
    """(α, β) at the n-th measurement (from 2) that make the filter the least-squares line through all n."""
    return 2.0 * (2 * n - 1) / (n * (n + 1)), 6.0 / (n * (n + 1))


class AlphaBeta:
    """level and rate (a second) of measurements at `tick_hz`; `residual` is the newest innovation."""

    __slots__ = ("_alpha", "_beta", "_tick_hz", "_tick_s", "count", "level", "rate", "residual")

    def __init__(self, lag_s: float, tick_hz: float) -> None:
        self._alpha, self._beta = gains_for_lag(lag_s * tick_hz)
        self._tick_hz = tick_hz
        self._tick_s = 1.0 / tick_hz
        self.reset()

    def reset(self) -> None:
        self.count = 0
        self.level = 0.0
        self.rate = 0.0
        self.residual = 0.0

    def add(self, measured: float) -> None:
        self.count += 1
        alpha, beta = self._alpha, self._beta
        if self.count == 1:
            alpha, beta = 1.0, 0.0
        elif self.count < 128:  # the growing line's gains fall below any steady ones in use by then
            line_alpha, line_beta = start_gains(self.count)
            alpha, beta = max(alpha, line_alpha), max(beta, line_beta)
        expected = self.level + self.rate * self._tick_s
        self.residual = error = measured - expected
        self.level = expected + alpha * error
        self.rate += beta * self._tick_hz * error
