"""Torque without ripple where the smoother cannot take it out: a crank that stands, starts, stops or goes back.

Its zeros lie on the frequencies of a crank that turns evenly. A crank that stops in mid-turn leaves its ripple in
torque, and the highest of that would be the peak. So as far as the crank may stand, or may have in the last seconds,
a difference no larger than the ripple is taken for ripple, and torque stays (a dead band); beyond it, it follows.
How large the ripple is was seen while the crank surely turned: steps of the feet look like a ripple far larger.
"""

from __future__ import annotations

import math

from winding_coach.signals.tuning import (
    BAND_FULL,
    BAND_HOLDS_S,
    BAND_NONE,
    BAND_RIPPLE,
    BAND_SETTLES_S,
    BAND_SLOPE,
    RIPPLE_FALLS_S,
    RIPPLE_RISES_S,
)


class Level:
    """`tick` takes the smoothed torque of each bin and returns it without the ripple that is left in it."""

    def __init__(self, tick_hz: float) -> None:
        self._tick_s = 1.0 / tick_hz
        self.reset()

    def reset(self) -> None:
        self._level: float | None = None
        self._doubt = 0.0
        self._share: float | None = None

    def tick(self, smoothed: float, rate_per_s: float, standing: float | None, ripple: float) -> float:
        """Take smoothed torque, its slow rate, the chance that the crank stands (None: not known), and the amplitude
        of the ripple; all torques in one unit."""
        here = 0.0 if standing is None else min(max((standing - BAND_NONE) / (BAND_FULL - BAND_NONE), 0.0), 1.0)
        self._doubt = max(here, self._doubt - self._tick_s / BAND_HOLDS_S)
        if self._level is None:
            self._level = smoothed
        if standing is not None:
            ripple = self._seen(ripple, abs(smoothed))
        level = self._level + self._tick_s * BAND_SLOPE * rate_per_s * (1.0 - (standing or 0.0))
        band, off = BAND_RIPPLE * self._doubt * ripple, smoothed - level
        if abs(off) > band:
            level = smoothed - math.copysign(band, off)
        else:
            level += off * min(self._tick_s / BAND_SETTLES_S / max(self._doubt, 0.02), 1.0)
        self._level = level
        return level

    def _seen(self, ripple: float, torque: float) -> float:
        """The ripple as it was while nothing was doubtful, for this torque; no more than there is now."""
        share = ripple / max(torque, 1e-12)
        if self._share is None:
            self._share = share
        elif not self._doubt:
            over_s = RIPPLE_FALLS_S if share < self._share else RIPPLE_RISES_S
            self._share += (share - self._share) * self._tick_s / over_s
        return min(ripple, self._share * torque)
