"""Gated samples in; mean torque of evenly spaced bins out. Uneven stamps and lost lines end here.

A bin's mean is the area under the samples joined by straight lines, over the bin's length, where a line that
crosses an edge gives each side its share by time.
"""

from __future__ import annotations

import math


class Bins:
    """`add` returns the means of the bins that a sample has completed, oldest first (usually one or none).

    Bin edges lie on whole multiples of the tick; the first bin begins at the first edge after the first sample.
    """

    __slots__ = ("_area", "_at_s", "_edge", "_tick_hz", "_torque", "_whole")

    def __init__(self, tick_hz: float) -> None:
        self._tick_hz = tick_hz
        self.reset()

    def reset(self) -> None:
        self._edge: int | None = None
        self._whole = False
        self._area = self._at_s = self._torque = 0.0

    @property
    def newest_s(self) -> float:
        """Middle of the newest whole bin, seconds on the samples' clock; not before there is one."""
        return ((self._edge or 0) - 1.5) / self._tick_hz

    def add(self, t_s: float, torque_Nm: float) -> list[float]:
        """Take a sample; times must advance."""
        means: list[float] = []
        if self._edge is None:
            self._edge = math.ceil(t_s * self._tick_hz)
        else:
            step = t_s - self._at_s
            area = 0.5 * step * (torque_Nm + self._torque)
            done = 0.0
            while self._edge <= t_s * self._tick_hz:
                share = (self._edge / self._tick_hz - self._at_s) / step
                if self._whole:
                    means.append((self._area + (share - done) * area) * self._tick_hz)
                self._whole, self._area, done = True, 0.0, share
                self._edge += 1
            self._area += (1.0 - done) * area
        self._at_s, self._torque = t_s, torque_Nm
        return means
