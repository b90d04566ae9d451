"""Torque of an invented motor, by this bench's own hand: Gent's law with a second-invariant term, on whole arrays.

A loop of strands twisted into a helix: λ³ - x²λ - τ² = 0, torque in proportion to P(λ) τ/(3λ² - x²); Gent (1996),
Pucci & Saccomandi (2002). Relaxation in the logarithm of time. Hysteresis and knots are left out, but for slips.
"""

from __future__ import annotations

import math

import numpy as np

from tests.bench.streams.drawing import Draw
from tests.bench.streams.motion import FINE_HZ, HOOKS_RATIO, TICK_HZ, Floats, Motion, smoothed, twist_at_peak

LIMIT, FIRST_PA, SECOND_PA = 129.0, 0.388e6, 0.28e6
RELAXED_PER_DECADE = 0.031


def stretch(ratio: Floats, twist: Floats) -> Floats:
    """Return the positive root λ of λ³ - x²λ - τ² = 0, by Newton from above."""
    root = np.maximum(ratio, 1.0) + np.cbrt(twist**2)
    for _ in range(12):
        root = root - (root**3 - ratio**2 * root - twist**2) / (3.0 * root**2 - ratio**2)
    return root


def elastic(ratio: Floats, twist: Floats) -> Floats:
    """Return torque, in units of its own, at hook distance over loop length and turns over the turns scale."""
    root = stretch(ratio, twist)
    left = np.maximum(LIMIT - (root**2 + 2.0 / root - 3.0), 1.0)
    stress = FIRST_PA * LIMIT / left * (root - root**-2) + 2.0 * SECOND_PA * (1.0 - root**-3) / (2.0 * root + root**-2)
    return stress * 2.0 * twist / (3.0 * root**2 - ratio**2)


def slips(draw: Draw, motion: Motion, random: np.random.Generator) -> tuple[Floats, Floats]:
    """Return factors by which slips of knots change torque, on the fine grid, and their times."""
    factor = np.zeros(len(motion.t_s))
    may = np.flatnonzero((motion.share > 0.7) & (motion.speed > 0.1))
    chance = draw.slips_per_min / 60.0 / FINE_HZ
    begun = may[random.random(len(may)) < chance]
    for i in begun.tolist():
        size = random.uniform(0.005, 0.03) * (-1.0 if random.random() < 0.8 else 1.0)
        # A slip goes, and half of it comes back over the next seconds.
        age = np.arange(len(factor) - i) / FINE_HZ
        factor[i:] += size * (1.0 - np.exp(-age / 0.02)) * (0.5 + 0.5 * np.exp(-age / 3.0))
    return 1.0 + factor, motion.t_s[begun]


def relaxed(torque: Floats) -> Floats:
    """Return torque after relaxation: three elements a decade apart, a share of stress each."""
    step = FINE_HZ // TICK_HZ
    coarse = torque[::step]
    lost = np.zeros(len(coarse))
    for seconds in (0.3, 3.0, 30.0):
        keep, level = math.exp(-1.0 / (seconds * TICK_HZ)), float(coarse[0])
        for i, now in enumerate(coarse.tolist()):
            level = keep * level + (1.0 - keep) * now
            lost[i] += level
    fine = np.interp(np.arange(len(torque)), np.arange(len(coarse)) * step, lost)
    return torque - RELAXED_PER_DECADE * fine


def torque_of(draw: Draw, motion: Motion) -> tuple[Floats, Floats]:
    """Return the true torque without ripple (N·m) on the fine grid, and the times of slips."""
    random = np.random.default_rng([draw.seed, round(draw.lines_per_s), 2])
    at_peak = float(elastic(np.array([HOOKS_RATIO]), np.array([twist_at_peak(0.9)]))[0])
    factor, times = slips(draw, motion, random)
    raw = relaxed(elastic(motion.ratio, np.maximum(motion.share, 0.0) * twist_at_peak(draw.wound)) * factor)
    usual = 1.0 - 3.0 * RELAXED_PER_DECADE
    return smoothed(raw, 0.01) * draw.scale * draw.expected_Nm / (at_peak * usual), times
