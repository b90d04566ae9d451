"""What the newest bins of torque show of a crank that turns or stands: the inputs of `watch`'s small network.

Torque of a turning crank goes up and down with the handle, that of a standing one stays or relaxes. What is left about
a straight line in the last 0.2 to 2.5 s is compared with the noise, with what was usual, with the least of late and
with what was left a turn ago; slopes are compared with each other.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

from winding_coach.signals.pitch import Pitch

Floats = NDArray[np.float64]

WINDOWS_S = (0.2, 0.3, 0.4, 0.55, 0.75, 1.0, 1.35, 1.8, 2.5)
"""Windows about whose line the rest is taken."""
SOME = (1, 3, 5)
"""Of them those whose past is looked at."""
SPAN_S = WINDOWS_S[-1]
_PAST_S = 4.0
_LEAST_AFTER_S = 3.5
_USUAL_S = 5.0
_SLOPE_PER_S = 0.01
_RING = 512
_LEAST_VARIANCE = 1e-9
NAMES = (
    *(f"left_{seconds:g}s" for seconds in WINDOWS_S),
    *(f"{what}_{WINDOWS_S[i]:g}s" for what in ("usual", "to_usual", "to_turn_ago", "to_least") for i in SOME),
    *(f"slope_{WINDOWS_S[i]:g}s" for i in (1, 3, 5, 8)),
    *("bend", "noise_share", "level", "period", "f_ratio", "ripple"),
)
COUNT = len(NAMES)
"""Traits of a bin."""


@functools.cache
def widths(tick_hz: float) -> tuple[int, ...]:
    """Bins of each window, three at least."""
    return tuple(max(round(seconds * tick_hz), 3) for seconds in WINDOWS_S)


@functools.cache
def lines(tick_hz: float) -> tuple[Floats, Floats]:
    """Orthonormal constant and slope of each window as rows, newest bin first; and what makes a slope per second."""
    n = widths(tick_hz)[-1]
    rows, to_slope = np.zeros((2 * len(WINDOWS_S), n)), np.empty(len(WINDOWS_S))
    for i, width in enumerate(widths(tick_hz)):
        along = 0.5 * (width - 1) - np.arange(width)
        length = math.sqrt(float(along @ along))
        rows[2 * i, :width] = 1.0 / math.sqrt(width)
        rows[2 * i + 1, :width] = along / length
        to_slope[i] = tick_hz / length
    return rows, to_slope


class Traits:
    """`tick` takes each bin's mean (share of full scale), returns the traits; None until the longest window is full."""

    def __init__(self, tick_hz: float) -> None:
        self._tick_hz = tick_hz
        self._widths = np.array(widths(tick_hz))
        self._rows, self._to_slope = lines(tick_hz)
        self._n = int(self._widths[-1])
        self._free = 1.0 / (self._widths - 2.0)
        self._past = round(_PAST_S * tick_hz)
        self._least_after = round(_LEAST_AFTER_S * tick_hz)
        self._gain = 1.0 / (_USUAL_S * tick_hz)
        self._some = list(SOME)
        self._least_from = int(self._widths[SOME[-1]])
        self._bins = np.zeros(_RING)
        self._logs = np.zeros((_RING, len(SOME)))
        self.reset()

    def reset(self) -> None:
        self._at = _RING
        self._count = 0
        self._usual: Floats | None = None
        self._noise2 = 0.0

    @property
    def ripple(self) -> float:
        """Amplitude of what is usually left in the longest window, less noise, as if it were a sine's."""
        return 0.0 if self._usual is None else math.sqrt(2.0 * max(float(self._usual[-1]) - self._noise2, 0.0))

    def tick(self, share: float, noise: float, pitch: Pitch | None) -> Floats | None:
        """Take a bin's mean and the standard deviation of its noise, as shares of full scale, and the pitch of now."""
        if self._at == 0:
            keep = max(self._n, self._past)
            self._bins[-keep:] = self._bins[:keep].copy()
            self._logs[-keep:] = self._logs[:keep].copy()
            self._at = _RING - keep
        self._at -= 1
        self._count += 1
        self._bins[self._at] = share
        if self._count < self._n:
            return None
        off = self._bins[self._at : self._at + self._n] - share
        fitted = self._rows @ off
        squares = np.cumsum(off * off)[self._widths - 1]
        parts = fitted * fitted
        left = (squares - parts[0::2] - parts[1::2]) * self._free
        np.maximum(left, 0.0, out=left)
        self._usual = left if self._usual is None else self._usual + (left - self._usual) * self._gain
        self._noise2 = noise2 = noise * noise + _LEAST_VARIANCE
        logs = np.log(left + noise2)
        return self._joined(logs, fitted[1::2] * self._to_slope, math.log(noise2), noise2, share, pitch)

    def _joined(
        self, logs: Floats, slopes: Floats, log_noise: float, noise2: float, share: float, pitch: Pitch | None
    ) -> Floats:
        at, some = self._at, self._some
        here = logs[some]
        self._logs[at] = here
        known = min(self._count - self._n + 1, self._past)
        period_s = 1.0 / pitch.hz if pitch is not None else 1.0
        near, far = int(0.85 * period_s * self._tick_hz), int(1.2 * period_s * self._tick_hz) + 2
        near, far = min(near, known - 1), min(far, known)
        before = self._logs[at + near : at + far].sum(axis=0) * (1.0 / (far - near))
        least_from = min(self._least_from, known - 1)
        least = np.minimum.reduce(self._logs[at + least_from : at + min(self._least_after, known)])
        assert self._usual is not None
        usual = np.log(self._usual[some] + noise2)
        f_ratio, amplitude = (0.0, 0.0) if pitch is None else (pitch.f_ratio, pitch.amplitude)
        level = max(share, 0.02)
        out = np.empty(COUNT)
        n = len(logs)
        out[:n] = logs - log_noise
        out[n : n + 3] = usual - log_noise
        out[n + 3 : n + 6] = here - usual
        out[n + 6 : n + 9] = here - before
        out[n + 9 : n + 12] = here - least
        steep = slopes / (_SLOPE_PER_S * level)
        out[n + 12 : n + 16] = np.arcsinh(np.array([steep[1], steep[3], steep[5], steep[8]]))
        out[n + 16] = math.asinh(float(steep[3] - steep[8]))
        out[n + 17] = 0.5 * log_noise - math.log(level)
        out[n + 18] = math.log(level)
        out[n + 19] = math.log(period_s)
        out[n + 20] = math.log1p(f_ratio)
        out[n + 21] = math.log(amplitude * level + math.sqrt(noise2)) - 0.5 * log_noise
        return out
