"""What one invented wind is like: everything that is drawn by chance from the seed, with the ranges in one place.

The ranges are assumed. Seeds: tuning from 1,000,000, report from 5,000,000, never looked at from 9,000,000.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

TUNING, REPORT, LAST = 1_000_000, 5_000_000, 9_000_000
RATES = (10.0, 80.0, 320.0)
Walk = Literal["steps", "at once", "slow walk"]


@dataclass(frozen=True, slots=True)
class Ripple:
    """Torque that goes round with the handle: sum of a_k cos 2π(kθ + phase_k), in shares of the expected peak.

    At a torque M it is (`fixed` + (1 - `fixed`) M/expected peak) times as large.
    """

    amplitudes: tuple[float, ...] = ()
    phases: tuple[float, ...] = ()
    fixed: float = 0.4

    @property
    def rms(self) -> float:
        """Root mean square over a turn, at the expected peak, in shares of it."""
        return math.sqrt(0.5 * sum(a * a for a in self.amplitudes))


@dataclass(frozen=True, slots=True)
class Draw:
    """One wind.

    expected_Nm: the peak that the estimator is told. scale: of the true torque to what was expected. rev_per_s,
    tired: the crank's speed and what it loses up to the peak. wander, wander_s: standard deviation (share of speed)
    and correlation time of the speed's wander. uneven, uneven_phase: unevenness within a turn (share). noise: standard
    deviation of a line (share of the expected peak). stalls_per_min, slow_per_min, slips_per_min: how often.
    stops_at_steps: chance that the crank stops while feet move. lost, doubled: share of pulses. dropped: share of
    lines. gaps_per_min: bursts of missing lines. wound: turns at the peak over those that break.
    """

    seed: int
    lines_per_s: float
    expected_Nm: float
    scale: float
    duration_s: float
    rev_per_s: float
    tired: float
    wander: float
    wander_s: float
    uneven: float
    uneven_phase: float
    noise: float
    ripple: Ripple
    stalls_per_min: float
    slow_per_min: float
    slips_per_min: float
    stops_at_steps: float
    walk: Walk
    step_m: float
    step_out: float
    ramp_s: float
    lost: float
    doubled: float
    dropped: float
    gaps_per_min: float
    wound: float
    looses: int
    angle: float


def _log(random: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(random.uniform(math.log(low), math.log(high))))


def _ripple(random: np.random.Generator) -> Ripple:
    """None at all in one of ten; else 0-6 % of the peak, one to four harmonics, the crank's own not always largest."""
    if random.random() < 0.1:
        return Ripple()
    size = random.uniform(0.0, 0.06)
    shares = random.dirichlet(np.ones(4)) * np.array([2.0, 1.0, 0.6, 0.4])
    shares[random.random(4) < np.array([0.1, 0.35, 0.5, 0.6])] = 0.0
    if not shares.any():
        shares[0] = 1.0
    shares *= size / math.sqrt(float(np.sum(shares**2)))
    phases = random.uniform(0.0, 1.0, 4)
    return Ripple(tuple(shares.tolist()), tuple(phases.tolist()), float(random.uniform(0.0, 0.8)))


def draw(seed: int, lines_per_s: float) -> Draw:
    """Draw a wind. The same seed at another rate is another wind."""
    random = np.random.default_rng([seed, round(lines_per_s)])
    speed = _log(random, 0.4, 2.2)
    label = 0.10 if random.random() < 1 / 30 else 0.08
    walk: Walk = ("steps", "at once", "slow walk")[int(random.choice(3, p=(0.6, 0.1, 0.3)))]
    one = Draw(
        seed=seed,
        lines_per_s=lines_per_s,
        expected_Nm=_log(random, 0.004, 0.03),
        scale=1.0 + float(random.uniform(-label, label)),
        duration_s=float(np.clip(random.uniform(60.0, 150.0) / speed, 50.0, 200.0)),
        rev_per_s=speed,
        tired=float(random.uniform(0.0, 0.4)),
        wander=float(random.uniform(0.05, 0.20)),
        wander_s=_log(random, 0.7, 6.0),
        uneven=float(random.uniform(0.0, 0.10)),
        uneven_phase=float(random.uniform(0.0, 1.0)),
        noise=_log(random, 0.0005, 0.015),
        ripple=_ripple(random),
        stalls_per_min=float(random.uniform(0.5, 3.0)),
        slow_per_min=float(random.choice((0.0, 0.0, 1.0))),
        slips_per_min=float(random.uniform(0.0, 2.0)),
        stops_at_steps=float(random.choice((0.0, 0.0, 0.3, 1.0))),
        walk=walk,
        step_m=_log(random, 0.03, 0.6),
        step_out=float(random.choice((0.0, 0.1))),
        ramp_s=_log(random, 0.08, 0.4),
        lost=float(random.uniform(0.0, 0.05)),
        doubled=0.01,
        dropped=float(random.choice((0.0, 0.002, 0.02))),
        gaps_per_min=float(random.choice((0.0, 0.5))),
        wound=float(random.uniform(0.70, 0.93)),
        looses=int(random.integers(2, 9)),
        angle=float(random.uniform(0.0, 1.0)),
    )
    # A third of the sensors count every pulse once.
    return replace(one, lost=0.0, doubled=0.0) if random.random() < 1.0 / 3.0 else one
