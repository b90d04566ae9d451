"""Ways to a rate of torque that the scores compare: this estimator, plain methods, and oracles that know the truth."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.signal import lfilter

from tests.signals.streams import FULL_SCALE_NM, Floats, Stream
from tests.support.offline import Record, analyse
from winding_coach.base.units import OZF_IN_NM
from winding_coach.signals.alpha_beta import gains_for_lag
from winding_coach.signals.smoother import period_indices, weights

Rates = Callable[[Stream], tuple[Floats, Floats]]
"""Times at which a rate became known, and the rates."""


def ours(pulses: bool) -> Rates:
    """The fast rate as the estimator gives it, at the moment when the line that completes it is in."""

    def run(wind: Stream) -> tuple[Floats, Floats]:
        record = analysed(wind, pulses)
        return wind.t_s[record.sample], record.rate_fast_Nm_per_s

    return run


def analysed(wind: Stream, pulses: bool) -> Record:
    return analyse(
        wind.t_s, wind.torque_Nm, FULL_SCALE_NM, wind.crank_count if pulses else None, lines_per_s=wind.lines_per_s
    )


def _integral(wind: Stream) -> Floats:
    """Running integral of the stream with spikes taken out as the estimator does."""
    torque = wind.torque_Nm.copy()
    five = np.lib.stride_tricks.sliding_window_view(torque, 5)
    median = np.median(five, axis=1)
    middle = torque[2:-2]
    limit = (0.12 if wind.lines_per_s < 28 else 0.08) * OZF_IN_NM
    torque[2:-2] = np.where(np.abs(middle - median) > limit, median, middle)
    return np.concatenate([[0.0], np.cumsum(np.diff(wind.t_s) * (torque[1:] + torque[:-1]) / 2)])


def _alpha_beta(measured: Floats, lag_s: float, hz: float) -> Floats:
    alpha, beta = gains_for_lag(lag_s * hz)
    shifted = measured - measured[0]
    return np.asarray(lfilter([beta * hz, -beta * hz], [1.0, -(2.0 - alpha - beta), 1.0 - alpha], shifted))


def one_turn_mean(pulses: bool) -> Rates:
    """The design before: mean over one turn, then alpha-beta with 0.4 s of lag."""

    def run(wind: Stream) -> tuple[Floats, Floats]:
        record, area = analysed(wind, pulses), _integral(wind)
        hz = float(round(1.0 / float(np.median(np.diff(record.t_s)))))
        mean = np.interp(record.t_s, wind.t_s, area) - np.interp(record.t_s - record.period_s, wind.t_s, area)
        return wind.t_s[record.sample], _alpha_beta(mean / record.period_s, 0.4, hz)

    return run


def plain_line(wind: Stream) -> tuple[Floats, Floats]:
    """Savitzky-Golay: slope of a line over the last 1.5 s."""
    hz = 20.0 if wind.lines_per_s >= 28 else 10.0
    edges = np.arange(1, int(wind.t_s[-1] * hz)) / hz
    bins = np.diff(np.interp(edges, wind.t_s, _integral(wind))) * hz
    n = round(1.5 * hz)
    at = np.arange(n) - (n - 1) / 2
    return edges[n:], np.convolve(bins, (at / np.sum(at**2) * hz)[::-1], mode="valid")


def plain_alpha_beta(wind: Stream) -> tuple[Floats, Floats]:
    """Alpha-beta on bins, 0.8 s of lag."""
    hz = 20.0 if wind.lines_per_s >= 28 else 10.0
    edges = np.arange(1, int(wind.t_s[-1] * hz)) / hz
    bins = np.diff(np.interp(edges, wind.t_s, _integral(wind))) * hz
    return edges[1:], _alpha_beta(bins, 0.8, hz)


def knows_the_period(wind: Stream) -> tuple[Floats, Floats]:
    """Oracle: our weights, told the true mean period over the last 1.8 s."""
    record = analysed(wind, True)
    hz = float(round(1.0 / float(np.median(np.diff(record.t_s)))))
    turned = np.interp(record.t_s, wind.t_s, wind.turns) - np.interp(record.t_s - 1.8, wind.t_s, wind.turns)
    index = period_indices(np.clip(1.8 / np.maximum(np.abs(turned), 0.5), 0.28, 2.2))
    rows = np.stack([weights(hz, row)[1] for row in range(int(index.max()) + 1)])
    return _weighted(wind, record, rows[index], _integral(wind))


def knows_the_ripple(wind: Stream) -> tuple[Floats, Floats]:
    """Oracle: our weights for the shortest period, on the trend and the noise without any ripple."""
    record = analysed(wind, True)
    hz = float(round(1.0 / float(np.median(np.diff(record.t_s)))))
    noise = np.random.default_rng(1).normal(0.0, wind.noise_Nm, len(wind.t_s))
    torque = wind.trend_Nm + noise
    area = np.concatenate([[0.0], np.cumsum(np.diff(wind.t_s) * (torque[1:] + torque[:-1]) / 2)])
    return _weighted(wind, record, np.broadcast_to(weights(hz, 0)[1], (len(record.t_s), weights(hz, 0).shape[1])), area)


def _weighted(wind: Stream, record: Record, rows: Floats, area: Floats) -> tuple[Floats, Floats]:
    hz = float(round(1.0 / float(np.median(np.diff(record.t_s)))))
    edges = record.t_s[:, None] - np.arange(rows.shape[1] + 1) / hz
    bins = -np.diff(np.interp(edges, wind.t_s, area), axis=1) * hz
    return wind.t_s[record.sample], np.einsum("ij,ij->i", bins, rows)
