"""The weights that turn the last 2.5 s of bins into torque and rate, for any crank period. Numbers only.

They are the best linear estimate, exact for a steady rise, under a plain model of a wind (Wiener 1949 with the
constraints of kriging, Matheron 1963): falls of half a second at random moments, a slow wander, knot slips, white
noise, and a ripple whose lines lie on the crank's frequency and its harmonics. The ripple is given so much more
than there is that the weights have zeros there, whatever its shape.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

from winding_coach.signals.tuning import (
    CHECK_LAG_S,
    LONGEST_PERIOD_S,
    MODEL,
    RATE_LAG_S,
    SHORTEST_PERIOD_S,
    SMOOTHER_SPAN_S,
)

Floats = NDArray[np.float64]

PERIODS = 48
_PER_LOG = (PERIODS - 1) / math.log(LONGEST_PERIOD_S / SHORTEST_PERIOD_S)
_LOG_SHORTEST = math.log(SHORTEST_PERIOD_S)
_GRID_S = 0.0125
_LINES_IN_BIN = {10.0: 1.0, 20.0: 4.0}  # at 10 and at 80 lines a second


def taps(tick_hz: float) -> int:
    """Bins that the weights span."""
    return round(SMOOTHER_SPAN_S * tick_hz)


def period_index(period_s: float) -> int:
    """Row of the table for this period: 48 periods, spaced by ratio, the ends taken beyond them."""
    return min(max(round((math.log(period_s) - _LOG_SHORTEST) * _PER_LOG), 0), PERIODS - 1)


def period_indices(period_s: Floats) -> NDArray[np.int64]:
    """`period_index` of many."""
    rows = np.rint((np.log(period_s) - _LOG_SHORTEST) * _PER_LOG)
    return np.asarray(np.clip(rows, 0, PERIODS - 1), dtype=np.int64)


def period_of(index: int) -> float:
    """The period of a row."""
    return SHORTEST_PERIOD_S * math.exp(index / _PER_LOG)


@functools.cache
def weights(tick_hz: float, index: int) -> Floats:
    """Weights of the bins, newest first, in three rows: torque now, rate 0.6 s ago, rate 1.2 s ago (about the middle).

    Rates are per second. Shape (3, taps).
    """
    at_s, trend, to_rate, to_level = _trend(tick_hz)
    period_s = period_of(index)
    apart = at_s[:, None] - at_s[None, :]
    total = trend.copy()
    for harmonic, size in enumerate(MODEL.ripple, start=1):
        line = 2 * math.pi * harmonic / period_s
        size = size * float(np.sinc(harmonic / (period_s * tick_hz)))  # what a bin leaves of it
        total += 0.5 * size**2 * np.cos(line * apart) * np.exp(-0.5 * (line * MODEL.unsteady * apart) ** 2)
    exact = np.stack([np.ones_like(at_s), at_s], axis=1)
    system = np.block([[total, exact], [exact.T, np.zeros((2, 2))]])
    wanted = np.zeros((len(at_s) + 2, 3))
    wanted[:-2] = np.stack([to_level, to_rate[:, 0], to_rate[:, 1]], axis=1)
    wanted[-2:] = [[1.0, 0.0, 0.0], [0.0, 1.0, 1.0]]
    return np.ascontiguousarray(np.linalg.solve(system, wanted)[:-2].T)


@functools.cache
def rows(tick_hz: float, index: int) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """`weights` as plain numbers, for the online path."""
    now, late, middle = weights(tick_hz, index).tolist()
    return tuple(now), tuple(late), tuple(middle)


@functools.cache
def _trend(tick_hz: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Bin middles, covariance of their torques without ripple, and with the two rates and the torque now."""
    n = taps(tick_hz)
    at_s = -(np.arange(n) + 0.5) / tick_hz
    grid_s = -np.arange(round(SMOOTHER_SPAN_S / _GRID_S) + 1) * _GRID_S
    fall_s = np.arange(0.0, MODEL.fall_s + _GRID_S / 2, _GRID_S)
    fall = MODEL.fall * (1.0 - np.cos(2 * math.pi * fall_s / MODEL.fall_s)) / MODEL.fall_s
    alike = np.correlate(fall, fall, "full") * _GRID_S * MODEL.falls_per_s
    after_s = np.abs(grid_s[:, None] - grid_s[None, :])
    rate = np.interp(after_s, (np.arange(len(alike)) - len(fall) + 1) * _GRID_S, alike, right=0.0)
    rate += MODEL.wander_per_s**2 * np.exp(-after_s / MODEL.wander_s)
    # Torque of a bin above that at the beginning of the span: its rate summed up to there
    summed = (grid_s[None, :] <= at_s[:, None] + 1e-9) * _GRID_S
    since = np.asarray(at_s - at_s[-1], dtype=np.float64)
    trend = np.asarray(summed @ rate @ summed.T, dtype=np.float64)
    trend += MODEL.slip**2 * np.minimum(since[:, None], since[None, :]) + MODEL.noise**2 / _LINES_IN_BIN[
        tick_hz
    ] * np.eye(n)
    late, middle = round(RATE_LAG_S / _GRID_S), round(CHECK_LAG_S / _GRID_S)
    to_rate = np.asarray(summed @ rate[:, [late, middle]])
    to_level = np.asarray(summed @ rate.sum(axis=1) * _GRID_S + MODEL.slip**2 * since)
    return np.asarray(at_s), trend, to_rate, to_level
