"""Samples in, samples without spikes out, two samples later: the Hampel gate over five points.

The middle sample is replaced by the median of the five if it is further from it than the threshold
(Hampel 1974, with a fixed threshold instead of the median deviation).
"""

from __future__ import annotations


class SampleGate:
    """`push` returns the (time, torque) of two samples ago, gated, or None until five samples are in."""

    def __init__(self, threshold_Nm: float) -> None:
        self.threshold_Nm = threshold_Nm
        self._kept: list[tuple[float, float]] = []

    def push(self, t_s: float, torque_Nm: float) -> tuple[float, float] | None:
        kept = self._kept
        kept.append((t_s, torque_Nm))
        if len(kept) < 5:
            return None
        middle_s, middle = kept[2]
        median = sorted((kept[0][1], kept[1][1], middle, kept[3][1], torque_Nm))[2]
        del kept[0]
        if abs(middle - median) > self.threshold_Nm:
            return middle_s, median
        return middle_s, middle

    def reset(self) -> None:
        self._kept.clear()
