"""A whole record at once: the same torque, rates and crank period as the online path, by numpy, for review and bulk.

It agrees with `Estimator` to rounding (the tests hold 1e-9). The handle's state is not here: it is told online.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from winding_coach.signals import pitch as pitches
from winding_coach.signals.alpha_beta import AlphaBeta, gains_for_lag
from winding_coach.signals.smoother import PERIODS, period_indices, taps, weights
from winding_coach.signals.stall import PulsePeriod
from winding_coach.signals.tuning import (
    CHECK_FOLLOW_S,
    CHECK_GAIN,
    CHECK_LAG_S,
    CLOCK_BACK_S,
    FOLLOW_PERIOD_S,
    LONGEST_PERIOD_S,
    MOST_REV_PER_S,
    MOST_TORQUE,
    PITCH_HZ,
    PITCH_LEAST,
    RATE_KNOWN_AFTER,
    RATE_LAG_S,
    SHORTEST_PERIOD_S,
    SLOW_LAG_S,
    STALE_S,
    USUAL_PERIOD_S,
    Tuning,
    tuning_for,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_CHUNK = 1024  # rows that fit a processor's cache
_START = 128  # ticks that the slow filter takes to reach its steady gains


@dataclass(frozen=True, slots=True)
class Record:
    """One row a tick; NaN where the online reading has None. sample: the line that completed the tick.

    t_s: end of the bin, on the record's own clock. torque_Nm: smoothed, before `level`. rate_fast is that of 0.6 s
    before it.
    """

    sample: Ints
    t_s: Floats
    torque_Nm: Floats
    rate_fast_Nm_per_s: Floats
    rate_fast_sd_Nm_per_s: Floats
    rate_slow_Nm_per_s: Floats
    period_s: Floats


def analyse(
    t_s: Floats,
    torque_Nm: Floats,
    full_scale_Nm: float,
    crank_turns: NDArray[np.generic] | None = None,
    lines_per_s: float = 80.0,
) -> Record:
    """Run a record through the estimator's filters.

    Args:
        t_s, torque_Nm: one value a line, device seconds and torque.
        full_scale_Nm: the torque expected at the peak.
        crank_turns: the meter's cumulative count on every line, None if it has none.
        lines_per_s: what the meter says of its rate; it is measured anyway.

    Raises:
        ValueError: arrays of different lengths.
    """
    if len(t_s) != len(torque_Nm) or (crank_turns is not None and len(crank_turns) != len(t_s)):
        raise ValueError("Times, torques and counts of a record must be of the same length.")
    count = None if crank_turns is None else np.asarray(crank_turns, dtype=np.float64)
    lines = np.flatnonzero(np.isfinite(t_s) & (np.abs(torque_Nm) < MOST_TORQUE * full_scale_Nm))
    rows: list[tuple[Ints, Floats, Floats, Floats, Floats, Floats, Floats]] = []
    for clock in _clocks(t_s, lines):
        now = t_s[clock] - t_s[clock[0]]
        measured = (RATE_KNOWN_AFTER - 1) / now[RATE_KNOWN_AFTER - 1] if len(clock) >= RATE_KNOWN_AFTER else lines_per_s
        retuned = tuning_for(measured) is not tuning_for(lines_per_s)
        edges = {0, len(clock), *(np.flatnonzero(np.diff(now) > STALE_S) + 1).tolist()}
        if retuned:
            edges.add(RATE_KNOWN_AFTER - 1)
        moved = None if count is None else _moved(now, count[clock])
        borders = sorted(edges)
        for start, stop in pairwise(borders):
            tuning = tuning_for(measured if start >= RATE_KNOWN_AFTER - 1 else lines_per_s)
            span = slice(start, stop)
            row = _span(
                now[span], torque_Nm[clock[span]], None if moved is None else moved[span], full_scale_Nm, tuning
            )
            if row is not None:
                rows.append((clock[span][row[0]], row[1] + t_s[clock[0]], *row[2:]))
        lines_per_s = measured
    columns = [np.concatenate(column) for column in zip(*rows, strict=True)] if rows else [np.empty(0)] * 7
    return Record(columns[0].astype(np.int64), *columns[1:])


def _clocks(t_s: Floats, lines: Ints) -> list[Ints]:
    """Lines whose stamps advance, cut where a new clock begins."""
    clocks: list[Ints] = []
    while len(lines):
        now = t_s[lines]
        newest = np.maximum.accumulate(now)
        back = np.flatnonzero(now[1:] - newest[:-1] <= -CLOCK_BACK_S)
        end = int(back[0]) + 1 if len(back) else len(lines)
        advances = np.concatenate([[True], now[1:end] > newest[: end - 1]])
        clocks.append(lines[:end][advances])
        lines = lines[end:]
    return clocks


def _moved(now: Floats, count: Floats) -> Floats:
    """By how much each line changed the count, as `TurnCounter.counted` takes it."""
    change = np.diff(count, prepend=count[0])
    change[np.abs(change) > 2.0 + MOST_REV_PER_S * np.diff(now, prepend=now[0])] = 0.0
    return change


def _gate(torque: Floats, threshold: float) -> Floats:
    """The middle samples, spikes replaced by the median of five (by a network of exchanges)."""
    a, b, c, d, e = (torque[i : len(torque) - 4 + i] for i in range(5))
    low, high = np.minimum(a, b), np.maximum(a, b)
    low2, high2 = np.minimum(d, e), np.maximum(d, e)
    floor, roof = np.maximum(low, low2), np.minimum(high, high2)
    median = np.maximum(np.minimum(floor, roof), np.minimum(np.maximum(floor, roof), c))
    return np.where(np.abs(c - median) > threshold, median, c)


def _bins(now: Floats, torque: Floats, tick_hz: float) -> tuple[Floats, Ints, Floats]:
    """Means of the bins, the sample that completed each, and the ends of the bins."""
    scaled = now * tick_hz
    edges = np.arange(np.ceil(scaled[0]), np.floor(scaled[-1]) + 1.0)
    at = np.maximum(np.searchsorted(scaled, edges, side="left"), 1)
    if len(edges) < 2 or len(now) < 2:
        return np.empty(0), np.empty(0, dtype=np.int64), np.empty(0)
    step = np.diff(now)
    area = 0.5 * step * (torque[1:] + torque[:-1])  # area[i] ends at sample i + 1
    share = (edges / tick_hz - now[at - 1]) / step[at - 1]
    first, last = at[:-1], at[1:]
    same = first == last
    whole = np.add.reduceat(np.append(area, 0.0), np.stack([first, last - 1], axis=1).ravel())[::2]
    whole[first >= last - 1] = 0.0  # reduceat gives the element itself for an empty range
    mean = (1.0 - share[:-1]) * area[first - 1] + whole + share[1:] * area[last - 1]
    mean[same] = ((share[1:] - share[:-1]) * area[last - 1])[same]
    return mean * tick_hz, last, edges[1:] / tick_hz


def _span(
    now: Floats, torque: Floats, moved: Floats | None, full_scale_Nm: float, tuning: Tuning
) -> tuple[Ints, Floats, Floats, Floats, Floats, Floats, Floats] | None:
    """One stretch without a gap."""
    if len(now) < 6:
        return None
    hz = tuning.tick_hz
    means, last, end_s = _bins(now[2:-2], _gate(torque, tuning.gate * full_scale_Nm), hz)
    n = len(means)
    if n == 0:
        return None
    sample = last + 4  # the gate is two samples late, and so is its first output
    level, slow = _slow(means, hz)
    span = taps(hz)
    windows = sliding_window_view(means, span)[:, ::-1] if n >= span else np.empty((0, span))
    known = _from_pulses(now, moved, sample) if moved is not None else _from_ripple(windows, n, full_scale_Nm, tuning)
    period = _follow(np.where(np.isnan(known), USUAL_PERIOD_S, np.clip(known, SHORTEST_PERIOD_S, LONGEST_PERIOD_S)), hz)
    fast, sd = np.full(n, np.nan), np.full(n, np.nan)
    if len(windows):
        level[span - 1 :], fast[span - 1 :], checked = _smooth(windows, period[span - 1 :], hz)
        sd[span - 1 :] = _spread(fast[span - 1 :], checked, hz)
    starting = np.arange(1, n + 1) < span
    fast[starting] = np.where(np.arange(1, n + 1) >= hz, slow, np.nan)[starting]
    slow_known = np.where(np.arange(1, n + 1) >= SLOW_LAG_S * hz, slow, np.nan)
    return sample, end_s, level, fast, sd, slow_known, period


def _slow(means: Floats, hz: float) -> tuple[Floats, Floats]:
    """Level (of the start only) and rate of the slow alpha-beta filter."""
    from scipy.signal import lfilter, lfiltic

    level, rate = np.full(len(means), np.nan), np.empty(len(means))
    start = AlphaBeta(SLOW_LAG_S, hz)
    for i, mean in enumerate(means[:_START].tolist()):
        start.add(mean)
        level[i], rate[i] = start.level, start.rate
    if len(means) > _START:
        alpha, beta = gains_for_lag(SLOW_LAG_S * hz)
        up, down = [beta * hz, -beta * hz], [1.0, -(2.0 - alpha - beta), 1.0 - alpha]
        state = lfiltic(up, down, y=rate[_START - 1 : _START - 3 : -1], x=means[_START - 1 : _START - 2 : -1])
        rate[_START:] = lfilter(up, down, means[_START:], zi=state)[0]
    return level, rate


def _follow(target: Floats, hz: float) -> Floats:
    """The period that follows its target, from the usual one."""
    from scipy.signal import lfilter

    gain = 1.0 / (FOLLOW_PERIOD_S * hz)
    return np.asarray(lfilter([gain], [1.0, gain - 1.0], target, zi=[(1.0 - gain) * USUAL_PERIOD_S])[0])


def _from_pulses(now: Floats, moved: Floats, sample: Ints) -> Floats:
    """Crank period known at each tick, from the pulses up to the line that completed it."""
    pulses = PulsePeriod()
    at = np.flatnonzero(moved)
    periods = np.full(len(at) + 1, np.nan)
    held = np.nan
    for i, (t_s, change) in enumerate(zip(now[at].tolist(), moved[at].tolist(), strict=True)):
        pulses.take(t_s, change)
        held = periods[i + 1] = held if pulses.period_s is None else pulses.period_s
    return periods[np.searchsorted(at, sample, side="right")]


def _from_ripple(windows: Floats, n: int, full_scale_Nm: float, tuning: Tuning) -> Floats:
    """Crank period known at each tick, from the last ripple that was clear."""
    hz, span = tuning.tick_hz, taps(tuning.tick_hz)
    every = round(hz / PITCH_HZ)
    ticks = np.arange(n - len(windows), n)
    searched = ticks[(ticks + 1) % every == 0]
    searched = searched[windows[searched - span + 1].mean(axis=1) >= PITCH_LEAST * full_scale_Nm]
    log_hz, f_ratio = np.empty(len(searched)), np.empty(len(searched))
    score, left = np.empty((len(searched), pitches.GRID)), np.empty((len(searched), pitches.GRID))
    still = np.zeros(len(searched), dtype=bool)
    for a in range(0, len(searched), _CHUNK):
        part = slice(a, a + _CHUNK)
        energy, total = pitches.energies(np.ascontiguousarray(windows[searched[part] - span + 1]), hz, tuning.harmonics)
        still[part] = ~(total > pitches.NO_RIPPLE * span)
        score[part], left[part] = pitches.scores(energy, np.where(still[part], 1.0, total), hz)
    # Each search leans on the frequency before it. Guess those, search, and search again where the guess was wrong:
    # after the first row nothing can stay wrong, as each round makes at least one more row right for good.
    before = np.full(len(searched), np.nan)
    todo = np.arange(len(searched))
    while len(todo):
        for a in range(0, len(todo), _CHUNK):
            here = todo[a : a + _CHUNK]
            rows = score[here]
            rows -= np.nan_to_num(pitches.prior(before[here]))
            best, log_hz[here] = pitches.peaks(rows)
            f_ratio[here] = pitches.f_ratios(left[here, best], hz, tuning.harmonics)
        f_ratio[still] = 0.0
        held = _held(np.where(f_ratio > pitches.F_FOLLOW, log_hz, np.nan))
        now_before = np.concatenate([[np.nan], held[:-1]])
        todo = np.flatnonzero((now_before != before) & ~(np.isnan(now_before) & np.isnan(before)))
        before = now_before
    known = np.full(n, np.nan)
    known[searched] = np.where(f_ratio > pitches.F_USE, 1.0 / np.exp(log_hz), np.nan)
    return _held(known)


def _held(values: Floats) -> Floats:
    """Each value that is not known replaced by the last that is."""
    at = np.maximum.accumulate(np.where(np.isnan(values), -1, np.arange(len(values))))
    return np.where(at < 0, np.nan, values[np.maximum(at, 0)])


def _smooth(windows: Floats, period: Floats, hz: float) -> tuple[Floats, Floats, Floats]:
    """Torque, fast rate and the rate that it is checked against."""
    index = period_indices(period)
    out = np.empty((3, len(windows)))
    order = np.argsort(index, kind="stable")
    borders = np.searchsorted(index[order], np.arange(PERIODS + 1))
    for row in range(PERIODS):
        for a in range(borders[row], borders[row + 1], _CHUNK):
            here = order[a : min(a + _CHUNK, borders[row + 1])]
            out[:, here] = weights(hz, row) @ windows[here].T
    return out[0], out[1], out[2]


def _spread(fast: Floats, checked: Floats, hz: float) -> Floats:
    """Standard deviation of the fast rate from its errors of late; NaN before there is a second of them."""
    from scipy.signal import lfilter

    late = round((CHECK_LAG_S - RATE_LAG_S) * hz)
    sd = np.full(len(fast), np.nan)
    error2 = (fast[: len(fast) - late] - checked[late:]) ** 2
    gain = 1.0 / (CHECK_FOLLOW_S * hz)
    start = min(round(1.0 / gain), len(error2))
    spread2 = np.empty(len(error2))
    spread2[:start] = np.cumsum(error2[:start]) / np.arange(1, start + 1)
    if len(error2) > start:
        spread2[start:] = lfilter([gain], [1.0, gain - 1.0], error2[start:], zi=[(1.0 - gain) * spread2[start - 1]])[0]
    known = np.arange(1, len(error2) + 1) >= hz
    sd[late:] = np.where(known, CHECK_GAIN * np.sqrt(spread2), np.nan)
    return sd
