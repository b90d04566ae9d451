"""Test streams with their truth: a wind as a torque meter would see it, from a seed. Invented data, own work.

Torque is the sum of a trend that is known exactly (its rate is the truth), crank ripple tied to the handle's angle
(harmonics, a gear line), knot slips, white noise and spikes; lines get lost, pulses get lost or come twice.
Figures are in ozf·in where the tuning was done, full scale 1.85; what comes out is N·m.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from winding_coach.base.units import OZF_IN_NM

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

FULL_SCALE_NM = 1.85 * OZF_IN_NM
GRID_HZ = 320.0


class Part(IntEnum):
    """What the person is doing, by the truth."""

    STRETCHED = 0
    BETWEEN_STEPS = 1
    STEP_IN = 2
    FINAL = 3
    BACK_OFF = 4
    HOLD = 5
    GONE = 6


@dataclass(frozen=True)
class Make:
    """What a stream is made of. Pairs are ranges, one value drawn a stream (log-uniform for noise and ripple).

    noise: share of full scale. ripple: share of torque. stalls_per_minute, stall_s: the handle stops.
    ends: how it ends: "hold", "broke", "unhooked". pulses: None no sensor, "one" or "quadrature".
    """

    noise: tuple[float, float] = (0.001, 0.01)
    ripple: tuple[float, float] = (0.01, 0.06)
    second_share: tuple[float, float] = (0.1, 0.8)
    gear: tuple[float, float] = (0.0, 0.01)
    crank_hz: tuple[float, float] = (1.0, 2.4)
    unevenness: tuple[float, float] = (0.01, 0.06)
    stalls_per_minute: float = 0.0
    stall_s: tuple[float, float] = (1.5, 8.0)
    tremor_share: float = 0.3
    steps: bool = True
    step_fall: tuple[float, float] = (0.007, 0.044)
    step_every_s: tuple[float, float] = (1.8, 4.0)
    slips_per_minute: float = 6.0
    slip: tuple[float, float] = (0.005, 0.02)
    spikes_per_minute: float = 3.0
    lost_lines: float = 0.004
    pulses: str | None = "one"
    lost_pulses: float = 0.0
    double_pulses: float = 0.0
    ends: str = "hold"
    peak: float = 1.85
    parts: tuple[Part, ...] = (Part.STRETCHED, Part.BETWEEN_STEPS, Part.FINAL, Part.BACK_OFF, Part.HOLD)


@dataclass(frozen=True)
class Stream:
    """What the meter sends (t_s, torque_Nm, crank_count) and the truth.

    Per line: rate_Nm_per_s and trend_Nm (without ripple and noise), turns (of the handle, real), turning (False in a
    stall), part. crank_count is None without a sensor. stalls: (start, end) s. broke_s: when torque was gone, or None.
    ripple_to_noise: rms of the ripple at a torque of 1 ozf·in over the noise of a 20 Hz bin.
    """

    t_s: Floats
    torque_Nm: Floats
    crank_count: Ints | None
    trend_Nm: Floats
    rate_Nm_per_s: Floats
    turns: Floats
    turning: Bools
    part: Ints
    stalls: tuple[tuple[float, float], ...]
    broke_s: float | None
    ripple_to_noise: float
    noise_Nm: float
    lines_per_s: float
    make: Make = field(repr=False)


def _log_uniform(random: np.random.Generator, low: float, high: float) -> float:
    return float(math.exp(random.uniform(math.log(low), math.log(high)))) if low > 0 else float(random.uniform(0, high))


def _smooth_stop(speed: Floats, start: int, stop: int) -> None:
    """Bring the speed to nothing between two grid points, with ramps of 0.1 s."""
    ramp = int(0.1 * GRID_HZ)
    gain = np.zeros(stop - start)
    n = min(ramp, len(gain) // 2)
    gain[:n] = np.linspace(1, 0, n)
    gain[len(gain) - n :] = np.linspace(0, 1, n)
    speed[start:stop] *= gain


def _wander(random: np.random.Generator, n: int, spread: float, every_s: float) -> Floats:
    """A slow random wander about 1."""
    knots = max(4, int(n / GRID_HZ / every_s) + 3)
    at = np.linspace(0, n - 1, knots)
    return np.asarray(1.0 + spread * np.interp(np.arange(n), at, np.clip(random.normal(size=knots), -1.6, 1.6)))


def stream(seed: int, lines_per_s: float = 80.0, make: Make | None = None) -> Stream:
    """One wind from a seed. The same seed and make give the same truth at every rate of lines."""
    make = make or Make()
    random = np.random.default_rng(seed)
    noise = _log_uniform(random, *make.noise) * 1.85
    ripple = _log_uniform(random, *make.ripple)
    second = random.uniform(*make.second_share)
    third = random.uniform(0, 0.25)
    gear, gear_teeth = random.uniform(*make.gear), int(random.integers(7, 16))
    shape = random.uniform(0, 2 * math.pi, 4)
    base_hz = _log_uniform(random, *make.crank_hz)

    # The parts, on a grid: how long, and how much torque a turn adds
    lengths = {
        Part.STRETCHED: random.uniform(35, 60),
        Part.BETWEEN_STEPS: random.uniform(30, 60),
        Part.FINAL: random.uniform(14, 24),
        Part.BACK_OFF: random.uniform(3.5, 6),
        Part.HOLD: 6.0,
    }
    part = np.concatenate([np.full(int(lengths[p] * GRID_HZ), int(p)) for p in make.parts])
    n = len(part)
    dt = 1.0 / GRID_HZ
    t = np.arange(n) * dt

    speed = base_hz * _wander(random, n, 0.06, 2.0)
    speed *= np.where(part == Part.BETWEEN_STEPS, random.uniform(0.75, 1.0), 1.0)
    speed = np.convolve(speed, np.ones(96) / 96, mode="same") / np.convolve(np.ones(n), np.ones(96) / 96, mode="same")
    cranking = part <= Part.FINAL
    direction = np.where(cranking, 1.0, np.where(part == Part.BACK_OFF, -0.6, 0.0))
    for turn_about in np.flatnonzero(np.diff(direction)):
        edge = int(turn_about)
        low, high = max(edge - 32, 0), min(edge + 33, n)
        speed[low:high] *= np.abs(np.linspace(-1, 1, high - low))
    stalls: list[tuple[float, float]] = []
    if make.stalls_per_minute:
        at_s = random.exponential(60 / make.stalls_per_minute)
        while at_s < n * dt:
            long_s = random.uniform(*make.stall_s)
            i, j = int(at_s * GRID_HZ), int((at_s + long_s) * GRID_HZ)
            if at_s > 5 and j < n and cranking[i] and cranking[j - 1]:
                _smooth_stop(speed, i, j)
                stalls.append((at_s, at_s + long_s))
            at_s += long_s + 4.0 + random.exponential(60 / make.stalls_per_minute)
    turns = np.cumsum(speed * direction) * dt
    uneven = random.uniform(*make.unevenness)  # a hand is slower on one side of the turn
    turns = turns + uneven / (2 * math.pi) * np.sin(2 * math.pi * turns + shape[3])

    # Torque that turns add, falls of the step-ins, and relaxation in a stall
    forward = np.gradient(turns, dt)
    smooth_speed = speed * direction
    start_torque = random.uniform(0.25, 0.4)
    per_turn = np.zeros(n)
    falls = np.zeros(n)
    p: Part
    for p in make.parts:
        here = part == p
        turned = max(float(np.sum(np.abs(smooth_speed[here])) * dt), 1.0)
        if p is Part.STRETCHED:
            per_turn[here] = np.linspace(1.15, 0.85, int(here.sum())) * (1.0 - start_torque) / turned
        elif p is Part.BETWEEN_STEPS and make.steps:
            fallen, i = 0.0, int(np.argmax(here)) + int(random.uniform(0.5, 2) * GRID_HZ)
            end = int(np.argmax(here) + here.sum())
            while True:
                long = int(random.uniform(0.35, 0.7) * GRID_HZ)
                if i + long >= end:
                    break
                fall = random.uniform(*make.step_fall)
                falls[i : i + long] -= fall * (1 - np.cos(2 * math.pi * (np.arange(long) + 0.5) / long)) / (long * dt)
                part[i : i + long] = Part.STEP_IN
                fallen += fall
                i += int(random.uniform(*make.step_every_s) * GRID_HZ)
            per_turn[here] = (fallen + random.uniform(-0.05, 0.1)) / turned
        elif p is Part.BETWEEN_STEPS:
            per_turn[here] = 0.05 / turned
        elif p is Part.FINAL:
            rise = make.peak - 1.03
            per_turn[here] = np.linspace(0.7, 1.3, int(here.sum())) * rise / turned
        elif p is Part.BACK_OFF:
            ramp = np.exp(-np.linspace(0, 2.5, int(here.sum())))
            per_turn[here] = 0.88 * ramp / max(float(np.sum(np.abs(smooth_speed[here]) * ramp) * dt), 0.5)
    rate = per_turn * smooth_speed + falls
    trend = start_torque + np.cumsum(rate) * dt
    standing = np.zeros(n, dtype=bool)
    for start_s, end_s in stalls:
        i, j = int(start_s * GRID_HZ), int(end_s * GRID_HZ)
        standing[i:j] = True
        relax = 0.011 * trend[i] / (0.3 + t[i:j] - t[i])
        rate[i:j] -= relax * np.minimum(1.0, (t[i:j] - t[i]) / 0.1)
    standing |= part == Part.HOLD
    trend = np.maximum(start_torque + np.cumsum(rate) * dt, 0.02)

    # What is added to the trend
    angle = 2 * math.pi * turns
    wave = (1 - 0.6 * second) * np.sin(angle + shape[0]) + second * np.sin(2 * angle + shape[1])
    wave += third * np.sin(3 * angle + shape[2])
    wave /= math.sqrt(float((1 - 0.6 * second) ** 2 + second**2 + third**2))
    seen = trend * (1 + ripple * wave + gear * np.sin(gear_teeth * angle))
    for start_s, end_s in stalls:
        if random.uniform() < make.tremor_share:
            i, j = int(start_s * GRID_HZ), int(end_s * GRID_HZ)
            seen[i:j] += random.uniform(0.002, 0.008) * np.sin(2 * math.pi * random.uniform(8, 12) * t[i:j])
    slips = random.poisson(make.slips_per_minute * n * dt / 60)
    for i in random.integers(0, n, slips):
        if part[i] <= Part.FINAL:
            size = random.uniform(*make.slip) * trend[i]
            seen[i:] -= size * (1 - np.exp(-(t[i:] - t[i]) / 0.02)) * np.exp(-(t[i:] - t[i]) / 4.0)

    broke_s = None
    if make.ends != "hold":
        eligible = np.flatnonzero(trend[: n - int(2 * GRID_HZ)] > 0.35)
        i = int(eligible[random.integers(len(eligible) // 2, len(eligible))])
        broke_s = float(t[i])
        gone = np.zeros(n - i)
        fall = int((random.uniform(0.002, 0.02) if make.ends == "broke" else random.uniform(0.05, 0.15)) * GRID_HZ) + 1
        gone[:fall] = np.linspace(1, 0, fall)[: len(gone)]
        seen[i:] *= gone
        trend[i:] *= gone
        rate[i:] = 0.0
        part[i:] = Part.GONE

    # Lines: when each was sent, with noise that every rate of lines has of its own
    per = GRID_HZ / lines_per_s
    picks = np.arange(0, n - 1, per)
    index = picks.astype(np.int64)
    of_lines = np.random.default_rng([seed, int(lines_per_s)])
    sent = seen[index] + of_lines.normal(0, noise, len(index))
    spikes = of_lines.poisson(make.spikes_per_minute * n * dt / 60)
    for i in of_lines.integers(0, len(sent), spikes):
        size = of_lines.uniform(0.2, 1.5) * of_lines.choice([-1, 1])
        for k in range(int(of_lines.integers(1, 3))):
            if i + k < len(sent):
                sent[i + k] += size
                size *= of_lines.choice([-1, 1])
    kept = of_lines.uniform(size=len(index)) >= make.lost_lines
    kept[:3] = True
    count = None
    if make.pulses is not None:
        count = _count(random, turns, make)[index][kept]
    bin_noise = noise / math.sqrt(max(lines_per_s / 20.0, 1.0))
    return Stream(
        t_s=np.asarray(index[kept] * dt, dtype=np.float64),
        torque_Nm=sent[kept] * OZF_IN_NM,
        crank_count=count,
        trend_Nm=trend[index][kept] * OZF_IN_NM,
        rate_Nm_per_s=rate[index][kept] * OZF_IN_NM,
        turns=turns[index][kept],
        turning=(np.abs(forward) > 0.05)[index][kept] & ~standing[index][kept],
        part=part[index][kept],
        stalls=tuple(stalls),
        broke_s=broke_s,
        ripple_to_noise=ripple / math.sqrt(2) / bin_noise,
        noise_Nm=noise * OZF_IN_NM,
        lines_per_s=lines_per_s,
        make=make,
    )


def _count(random: np.random.Generator, turns: Floats, make: Make) -> Ints:
    """The meter's cumulative count on the grid: one sensor counts every passing up, quadrature counts down too."""
    whole = np.floor(turns + random.uniform())
    moves = np.diff(whole, prepend=whole[0])
    if make.pulses == "one":
        moves = np.abs(moves)
    at = np.flatnonzero(moves)
    lost = random.uniform(size=len(at)) < make.lost_pulses
    double = random.uniform(size=len(at)) < make.double_pulses
    moves[at[lost]] = 0
    later = np.minimum(at[double] + int(0.05 * GRID_HZ), len(moves) - 1)
    np.add.at(moves, later, moves[at[double]])
    return np.asarray(np.cumsum(moves), dtype=np.int64)
