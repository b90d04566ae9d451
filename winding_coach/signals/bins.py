"""Gated samples in; mean torque of evenly spaced bins out. Uneven stamps and lost lines end here.

A bin's mean is the difference of the running integral (trapezoids) at its two ends over its length.
"""

from __future__ import annotations

import math


class Bins:
    """`add` returns the means of the bins that a sample has completed, oldest first (usually one or none).

    Bin edges lie on whole multiples of the tick; the first bin begins at the first edge after the first sample.
    """

    __slots__ = ("_area", "_at_s", "_edge", "_edge_area", "_tick_hz", "_torque", "newest_edge_s")

    def __init__(self, tick_hz: float) -> None:
        self._tick_hz = tick_hz
        self.reset()

    def reset(self) -> None:
        self._edge: int | None = None
        self._edge_area: float | None = None
        self._area = self._at_s = self._torque = 0.0
        self.newest_edge_s = 0.0

    def add(self, t_s: float, torque_Nm: float) -> list[float]:
        """Take a sample; times must advance."""
        means: list[float] = []
        if self._edge is None:
            self._edge = math.ceil(t_s * self._tick_hz)
            self._at_s, self._torque = t_s, torque_Nm
            return means
        step = t_s - self._at_s
        area = self._area + 0.5 * step * (torque_Nm + self._torque)
        while self._edge <= t_s * self._tick_hz:
            edge_s = self._edge / self._tick_hz
            edge_area = self._area + (edge_s - self._at_s) / step * (area - self._area)
            if self._edge_area is not None:
                means.append((edge_area - self._edge_area) * self._tick_hz)
            self._edge_area = edge_area
            self.newest_edge_s = edge_s
            self._edge += 1
        self._area, self._at_s, self._torque = area, t_s, torque_Nm
        return means
