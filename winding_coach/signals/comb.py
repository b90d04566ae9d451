"""Gated samples in; mean torque over exactly one crank period out, at evenly spaced ticks.

The mean over one turn has a zero at the crank's frequency and at all its harmonics. It is a difference of the
running integral, so the period may change at every tick. Memory is a ring that never grows.
"""

from __future__ import annotations

_RING = 2048
_MASK = _RING - 1


class Comb:
    """The running integral of the samples (trapezoids), and `mean_until` over any span that the ring still holds.

    The ring holds 2048 samples: 1.7 s at up to 1200 lines a second; with more, the mean is over what it holds.
    """

    __slots__ = ("_at", "_first", "_integral", "_next", "_torque", "newest_s")

    def __init__(self) -> None:
        self._at = [0.0] * _RING
        self._integral = [0.0] * _RING
        self.reset()

    def reset(self) -> None:
        self._first = self._next = 0
        self._torque = 0.0
        self.newest_s = 0.0

    def add(self, t_s: float, torque_Nm: float) -> None:
        """Take a sample; times must advance."""
        n = self._next
        if n == self._first:
            self._integral[n & _MASK] = 0.0
        else:
            before = (n - 1) & _MASK
            self._integral[n & _MASK] = self._integral[before] + 0.5 * (t_s - self._at[before]) * (
                torque_Nm + self._torque
            )
        self._at[n & _MASK] = self.newest_s = t_s
        self._torque = torque_Nm
        self._next = n + 1
        if self._next - self._first > _RING:
            self._first += 1

    def oldest_s(self) -> float:
        """Time of the oldest sample held."""
        return self._at[self._first & _MASK]

    def _integral_at(self, t_s: float) -> float:
        """The integral at a time within the ring, between samples by a straight line."""
        at = self._at
        low, high = self._first, self._next - 1
        if t_s <= at[low & _MASK]:
            return self._integral[low & _MASK]
        while high - low > 1:
            middle = (low + high) >> 1
            if at[middle & _MASK] < t_s:
                low = middle
            else:
                high = middle
        before, after = low & _MASK, high & _MASK
        share = (t_s - at[before]) / (at[after] - at[before])
        return self._integral[before] + share * (self._integral[after] - self._integral[before])

    def mean_until(self, t_s: float, span_s: float) -> float:
        """Mean torque over the span that ends at t_s (no later than the newest sample; the span no older than held)."""
        return (self._integral_at(t_s) - self._integral_at(t_s - span_s)) / span_s
