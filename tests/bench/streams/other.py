"""Streams of another make: the same ranges, another way of moving, ripple and noise. A check on fitting to the first.

Whoever fits an estimator to the streams of `making.py` fits their habits too: the wander's law, white noise, four
harmonics, a crank that stands quite still. Here the speed wanders as slow waves, unevenness comes twice a turn too (one
arm pushes, one pulls), ripple has kinks (six harmonics) and goes with torque alone, noise has a memory and the zero
creeps, a standing hand trembles, and people stop less often and for longer. All of it assumed.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from tests.bench.streams.drawing import Draw, Ripple, draw
from tests.bench.streams.making import Stream, made
from tests.bench.streams.motion import FINE_HZ, Floats, Motion, move

TREMBLES_TURN = 0.004
"""Standard deviation of a standing hand's angle."""


def _waves(t_s: Floats, random: np.random.Generator) -> Floats:
    """Return a wander of standard deviation 1 as a sum of five slow waves."""
    total = np.zeros(len(t_s))
    for hz in np.exp(random.uniform(math.log(0.05), math.log(0.8), 5)).tolist():
        total += np.sin(2.0 * math.pi * (hz * t_s + random.uniform(0.0, 1.0)))
    return total * math.sqrt(2.0 / 5.0)


def other_motion(one: Draw, random: np.random.Generator) -> Motion:
    """Return hands of the other make."""
    still = replace(one, wander=1e-6, uneven=0.0)
    motion = move(still)
    base = motion.speed * (1.0 + one.wander * np.clip(_waves(motion.t_s, random), -2.2, 2.2))
    even = np.cumsum(base) / FINE_HZ
    angle, speed = one.angle + even, base
    for k in (1, 2):
        size, phase = one.uneven * random.uniform(0.2, 1.0), random.uniform(0.0, 1.0)
        turn = 2.0 * math.pi * (k * even + phase)
        angle = angle + size / (2.0 * math.pi * k) * np.sin(turn)
        speed = speed + base * size * np.cos(turn)
    tremble = np.interp(motion.t_s, *_trembling(float(motion.t_s[-1]), random))
    stands = np.clip(1.0 - np.abs(speed) / 0.1, 0.0, 1.0)
    per_turn = np.median(np.diff(motion.share)[motion.speed[1:] > 0.1] / motion.speed[1:][motion.speed[1:] > 0.1])
    share = motion.share[0] + np.cumsum(base) * per_turn
    return replace(motion, angle=angle + stands * tremble, speed=speed, share=share)


def _trembling(last_s: float, random: np.random.Generator) -> tuple[Floats, Floats]:
    t_s = np.arange(0.0, last_s + 0.2, 0.1)
    return t_s, random.normal(0.0, TREMBLES_TURN, len(t_s))


def other_draw(seed: int, lines_per_s: float) -> Draw:
    """Return the draw of a seed with the other make's ripple and stops."""
    one = draw(seed, lines_per_s)
    random = np.random.default_rng([seed, round(lines_per_s), 10])
    ripple = Ripple()
    if one.ripple.amplitudes:
        size = one.ripple.rms * math.sqrt(2.0)
        shares = np.array([1.0, 0.4, 0.35, 0.2, 0.15, 0.1]) * random.uniform(0.2, 1.0, 6)
        shares *= size / math.sqrt(float(np.sum(shares**2)))
        ripple = Ripple(tuple(shares.tolist()), tuple(random.uniform(0.0, 1.0, 6).tolist()), 0.0)
    return replace(one, ripple=ripple, stalls_per_min=float(random.uniform(0.2, 1.5)), slow_per_min=0.3)


def other_stream(seed: int, lines_per_s: float) -> Stream:
    """Make the stream of a seed in the other make."""
    one = other_draw(seed, lines_per_s)
    random = np.random.default_rng([seed, round(lines_per_s), 11])
    clean = made(replace(one, noise=0.0), other_motion(one, random))
    n = len(clean.t_s)
    kicks = random.normal(0.0, 1.0, n)
    noise = np.empty(n)
    level, keep = 0.0, 0.4
    for i, kick in enumerate(kicks.tolist()):
        level = keep * level + math.sqrt(1.0 - keep * keep) * kick
        noise[i] = level
    creep = np.interp(clean.t_s, np.arange(0.0, clean.t_s[-1] + 10.0, 10.0), _creep(clean.t_s[-1], random))
    return replace(clean, draw=one, torque_Nm=clean.torque_Nm + one.expected_Nm * (one.noise * noise + creep))


def _creep(last_s: float, random: np.random.Generator) -> Floats:
    steps = len(np.arange(0.0, last_s + 10.0, 10.0))
    return np.asarray(np.cumsum(random.normal(0.0, 0.0005, steps)))
