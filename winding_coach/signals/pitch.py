"""Bins of torque in; the crank's frequency from its ripple out, with how much better it explains the bins than noise.

Harmonic least squares (Quinn & Hannan 2001, ch. 3) over a fixed grid of frequencies, after a parabola is projected
out. The orthonormal bases are made once, so a search is one product of a table and the newest bins.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from winding_coach.signals.smoother import taps

Floats = NDArray[np.float64]

GRID = 36
LOWEST_HZ, HIGHEST_HZ = 0.6, 3.3
_LOG_STEP = math.log(HIGHEST_HZ / LOWEST_HZ) / (GRID - 1)
LOG_HZ = math.log(LOWEST_HZ) + _LOG_STEP * np.arange(GRID)
_SHARE_OF_LIKELIHOOD = 0.3
_PRIOR_LOG_SD = 0.12
_PRIOR_MOST = 6.0
_SUBOCTAVE = 8.0
_SUBOCTAVE_RATIO = 1.2
F_FOLLOW = 3.0
F_USE = 8.0
NO_RIPPLE = 1e-14
"""Mean square of the bins' shares below which there is nothing but rounding."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """hz: the best frequency. f_ratio: variance ratio of the ripple fit; above `F_USE` hz is to be used.
    amplitude: of the fitted ripple, as a share of the mean torque (rms).
    """

    hz: float
    f_ratio: float
    amplitude: float


@functools.cache
def bases(tick_hz: float, harmonics: int) -> tuple[Floats, Floats]:
    """(parabola, ripple): orthonormal rows over the bins, newest first. Ripple rows are cos, sin of each harmonic
    of each frequency, orthogonal to the parabola and within a frequency. Shapes (3, n), (GRID·2·harmonics, n).
    """
    n = taps(tick_hz)
    at_s = -(np.arange(n) + 0.5) / tick_hz
    line = at_s - at_s.mean()
    parabola = np.linalg.qr(np.stack([np.ones(n), line, line**2], axis=1))[0]
    ripple = np.empty((GRID, 2 * harmonics, n))
    for i, log_hz in enumerate(LOG_HZ):
        angle = 2 * math.pi * math.exp(log_hz) * at_s
        waves = [wave for k in range(1, harmonics + 1) for wave in (np.cos(k * angle), np.sin(k * angle))]
        columns = np.stack(waves, axis=1)
        columns = columns - parabola @ (parabola.T @ columns)
        ripple[i] = np.linalg.qr(columns)[0].T
    return np.ascontiguousarray(parabola.T), ripple.reshape(GRID * 2 * harmonics, n)


def energies(bins: Floats, tick_hz: float, harmonics: int) -> tuple[Floats, Floats]:
    """For rows of bins (n_rows, taps), newest first: energy of each harmonic at each frequency, and energy in all.

    Bins are divided by their mean and freed of a parabola first. Shapes (n_rows, GRID, harmonics) and (n_rows,).
    """
    parabola, ripple = bases(tick_hz, harmonics)
    shares = bins / bins.mean(axis=1, keepdims=True)
    curve = shares @ parabola.T
    total = np.einsum("ij,ij->i", shares, shares) - np.einsum("ij,ij->i", curve, curve)
    found = shares @ ripple.T
    found *= found
    pairs = found.reshape(len(bins), GRID, harmonics, 2)
    return pairs[..., 0] + pairs[..., 1], total


def scores(energy: Floats, total: Floats, tick_hz: float) -> tuple[Floats, Floats]:
    """Score of each frequency without the prior, and the share of the energy left over. Shapes (n_rows, GRID)."""
    harmonics = energy.shape[2]
    left = 1.0 - (energy[:, :, 0] + energy[:, :, 1] if harmonics == 2 else energy[:, :, 0]) / total[:, None]
    left = np.maximum(left, 1e-12)
    score = -_SHARE_OF_LIKELIHOOD * taps(tick_hz) * np.log(left)
    if harmonics == 2:
        score -= _SUBOCTAVE * (energy[:, :, 0] < _SUBOCTAVE_RATIO * energy[:, :, 1])
    return score, left


def prior(log_hz_before: Floats) -> Floats:
    """What is taken off the scores of frequencies far from the one before. Shape (n_rows, GRID)."""
    off = (LOG_HZ[None, :] - log_hz_before[:, None]) * (1.0 / _PRIOR_LOG_SD)
    off *= off
    off *= 0.5
    return np.minimum(off, _PRIOR_MOST, out=off)


def peaks(score: Floats) -> tuple[NDArray[np.intp], Floats]:
    """Index of the best frequency of each row, and its logarithm by a parabola through three scores."""
    best = np.argmax(score, axis=1)
    middle = np.clip(best, 1, GRID - 2)
    row = np.arange(len(score))
    below, here, above = score[row, middle - 1], score[row, middle], score[row, middle + 1]
    bend = below - 2.0 * here + above
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where((bend < 0.0) & (middle == best), 0.5 * (below - above) / bend, 0.0)
    return best, LOG_HZ[best] + _LOG_STEP * np.clip(shift, -0.5, 0.5)


def f_ratios(left: Floats, tick_hz: float, harmonics: int) -> Floats:
    """Variance ratio of a fit from the share of the energy it leaves."""
    free = taps(tick_hz) - 3 - 2 * harmonics
    return np.asarray((1.0 - left) / (2 * harmonics) / (left / free))


class PitchSearch:
    """The online search: remembers the frequency before. `update` returns what the newest bins show."""

    def __init__(self, tick_hz: float, harmonics: int) -> None:
        self._harmonics = harmonics
        self._parabola, self._ripple = bases(tick_hz, harmonics)
        self.reset()

    def reset(self) -> None:
        self._log_hz_before: float | None = None

    def update(self, bins: Floats) -> Pitch | None:
        """Search in the bins, newest first, all positive in the mean. None where they do not vary at all.

        The same sums as `energies`, `scores`, `prior` and `peaks`, for one row and with as few calls as can be: the
        calls, not the sums, are what a search costs.
        """
        shares = bins * (len(bins) / float(np.add.reduce(bins)))
        curve = self._parabola @ shares
        total = float(shares @ shares - curve @ curve)
        if not total > NO_RIPPLE * len(bins):
            return None
        found = self._ripple @ shares
        found *= found
        pairs = found[0::2] + found[1::2]
        energy = pairs if self._harmonics == 1 else pairs[0::2] + pairs[1::2]
        left = np.maximum(1.0 - energy / total, 1e-12)
        score = np.log(left)
        score *= -_SHARE_OF_LIKELIHOOD * len(bins)
        if self._harmonics == 2:
            score -= _SUBOCTAVE * (pairs[0::2] < _SUBOCTAVE_RATIO * pairs[1::2])
        if self._log_hz_before is not None:
            off = LOG_HZ - self._log_hz_before
            off *= 1.0 / _PRIOR_LOG_SD
            off *= off
            off *= 0.5
            score -= np.minimum(off, _PRIOR_MOST, out=off)
        best = int(score.argmax())
        log_hz = float(LOG_HZ[best])
        if 0 < best < GRID - 1:
            below, here, above = score[best - 1 : best + 2].tolist()
            bend = below - 2.0 * here + above  # below zero: the one before the first best is less
            log_hz += _LOG_STEP * min(max(0.5 * (below - above) / bend, -0.5), 0.5)
        share_left = float(left[best])
        free = len(bins) - 3 - 2 * self._harmonics
        f_ratio = (1.0 - share_left) / (2 * self._harmonics) / (share_left / free)
        if f_ratio > F_FOLLOW:
            self._log_hz_before = log_hz
        return Pitch(math.exp(log_hz), f_ratio, math.sqrt(total * (1.0 - share_left) / len(bins)))
